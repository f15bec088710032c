//! What the writers of XML have in common.

use std::io::Write;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesText, Event};

use crate::ExportError;
use crate::path::for_xml;

/// A document under way.
pub(crate) type Xml<'a> = Writer<&'a mut dyn Write>;

/// Begins a document, with its declaration.
pub(crate) fn begin<'a>(to: &'a mut dyn Write) -> Result<Xml<'a>, ExportError> {
    let mut xml: Xml<'a> = Writer::new_with_indent(to, b' ', 1);
    xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    Ok(xml)
}

/// An element that holds text.
pub(crate) fn text(xml: &mut Xml<'_>, name: &str, text: &str) -> Result<(), ExportError> {
    xml.create_element(name).write_text_content(BytesText::new(&for_xml(text)))?;
    Ok(())
}

/// An element that holds others.
pub(crate) fn within(
    xml: &mut Xml<'_>,
    name: &str,
    attributes: &[(&str, &str)],
    inside: impl FnOnce(&mut Xml<'_>) -> Result<(), ExportError>,
) -> Result<(), ExportError> {
    let mut result = Ok(());
    xml.create_element(name).with_attributes(attributes.iter().copied()).write_inner_content(|xml| {
        result = inside(xml);
        Ok(())
    })?;
    result
}
