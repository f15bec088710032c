//! Parquet, typed: figures as 32-bit floats (seven digits), degrees, seconds and free figures as 64-bit ones, instants as
//! UTC timestamps in nanoseconds, text as UTF-8. A value that is not known is null. Units, datum and setup are in the
//! file's metadata.

use std::io::Write;
use std::sync::Arc;

use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type};

use crate::ExportError;
use crate::block::{ALL_DIGITS, Block, Column, Kind, NO_TEXT, NO_WHOLE, Values};
use crate::units::{Unit, Units};

/// Writes a table; each block becomes a row group.
pub struct Parquet<W: Write + Send> {
    writer: SerializedFileWriter<W>,
    columns: Vec<Column>,
    chosen: Vec<usize>,
    units: Units,
}

fn is_double(kind: Kind) -> bool {
    matches!(kind, Kind::Free | Kind::Ns | Kind::Real(Unit::Degree, _) | Kind::Real(_, ALL_DIGITS))
}

fn field(column: &Column, units: Units) -> Result<Type, ExportError> {
    let (physical, logical) = match column.kind {
        kind if is_double(kind) => (Physical::DOUBLE, None),
        Kind::Utc => (Physical::INT64, Some(LogicalType::timestamp(true, TimeUnit::NANOS))),
        Kind::Whole => (Physical::INT64, None),
        Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        _ => (Physical::FLOAT, None),
    };
    Ok(Type::primitive_type_builder(&column.header(units), physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type(logical)
        .build()?)
}

impl<W: Write + Send> Parquet<W> {
    /// Begins a file.
    pub fn new(
        to: W,
        columns: &[Column],
        chosen: &[usize],
        units: Units,
        about: &[(String, String)],
    ) -> Result<Self, ExportError> {
        let fields = chosen
            .iter()
            .map(|index| field(&columns[*index], units).map(Arc::new))
            .collect::<Result<Vec<_>, _>>()?;
        let schema = Type::group_type_builder("row").with_fields(fields).build()?;
        let mut metadata: Vec<KeyValue> = about
            .iter()
            .map(|(key, value)| KeyValue::new(format!("loftwatch.{key}"), value.clone()))
            .collect();
        let described: Vec<_> = chosen
            .iter()
            .map(|index| {
                let column = &columns[*index];
                let unit = match column.kind {
                    Kind::Real(unit, _) => unit.symbol(units),
                    Kind::Ns => "s",
                    Kind::Utc => "ns since 1970-01-01, UTC",
                    _ => "",
                };
                serde_json::json!({ "name": column.header(units), "unit": unit, "means": column.about })
            })
            .collect();
        metadata.push(KeyValue::new("loftwatch.columns".to_owned(), serde_json::to_string(&described)?));
        let mut properties = WriterProperties::builder()
            .set_created_by(format!("loftwatch {}", env!("CARGO_PKG_VERSION")))
            .set_compression(Compression::SNAPPY)
            .set_dictionary_enabled(false)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_key_value_metadata(Some(metadata));
        for index in chosen {
            if columns[*index].kind == Kind::Text {
                let path = ColumnPath::from(columns[*index].header(units));
                properties = properties.set_column_dictionary_enabled(path, true);
            }
        }
        let writer = SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties.build()))?;
        Ok(Self { writer, columns: columns.to_vec(), chosen: chosen.to_vec(), units })
    }

    /// Adds rows.
    pub fn block(&mut self, block: &Block) -> Result<(), ExportError> {
        if block.is_empty() {
            return Ok(());
        }
        let mut group = self.writer.next_row_group()?;
        let mut levels: Vec<i16> = Vec::with_capacity(block.rows());
        for index in &self.chosen {
            let Some(mut column) = group.next_column()? else { break };
            let kind = self.columns[*index].kind;
            levels.clear();
            match (column.untyped(), &block.columns[*index]) {
                (ColumnWriter::FloatColumnWriter(to), Values::Real(of)) => {
                    let convert = |value: f64| match kind {
                        Kind::Real(unit, _) => unit.convert(value, self.units) as f32,
                        _ => value as f32,
                    };
                    levels.extend(of.iter().map(|value| i16::from(value.is_finite())));
                    let known: Vec<f32> =
                        of.iter().filter(|value| value.is_finite()).map(|value| convert(*value)).collect();
                    to.write_batch(&known, Some(&levels), None)?;
                }
                (ColumnWriter::DoubleColumnWriter(to), Values::Real(of)) => {
                    levels.extend(of.iter().map(|value| i16::from(value.is_finite())));
                    let convert = |value: f64| match kind {
                        Kind::Real(unit, _) => unit.convert(value, self.units),
                        _ => value,
                    };
                    let known: Vec<f64> =
                        of.iter().copied().filter(|value| value.is_finite()).map(convert).collect();
                    to.write_batch(&known, Some(&levels), None)?;
                }
                (ColumnWriter::DoubleColumnWriter(to), Values::Whole(of)) => {
                    levels.extend(of.iter().map(|value| i16::from(*value != NO_WHOLE)));
                    let known: Vec<f64> =
                        of.iter().filter(|value| **value != NO_WHOLE).map(|ns| *ns as f64 / 1e9).collect();
                    to.write_batch(&known, Some(&levels), None)?;
                }
                (ColumnWriter::Int64ColumnWriter(to), Values::Whole(of)) => {
                    levels.extend(of.iter().map(|value| i16::from(*value != NO_WHOLE)));
                    let known: Vec<i64> = of.iter().copied().filter(|value| *value != NO_WHOLE).collect();
                    to.write_batch(&known, Some(&levels), None)?;
                }
                (ColumnWriter::ByteArrayColumnWriter(to), Values::Text { words, index }) => {
                    let words: Vec<ByteArray> =
                        words.iter().map(|word| ByteArray::from(word.as_bytes().to_vec())).collect();
                    levels.extend(index.iter().map(|word| i16::from(*word != NO_TEXT)));
                    let known: Vec<ByteArray> = index
                        .iter()
                        .filter(|word| **word != NO_TEXT)
                        .map(|word| words[*word as usize].clone())
                        .collect();
                    to.write_batch(&known, Some(&levels), None)?;
                }
                // The schema was made of these very columns.
                _ => unreachable!("a column's values are not of its kind"),
            }
            column.close()?;
        }
        group.close()?;
        Ok(())
    }

    /// Writes the footer.
    pub fn finish(self) -> Result<(), ExportError> {
        let mut to = self.writer.into_inner()?;
        to.flush()?;
        Ok(())
    }
}
