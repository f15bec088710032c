//! A vehicle out of one text in another.

use toml_edit::{DocumentMut, Item};

/// What a vehicle is made of: taken from one text into another all together, as bodies and cues name one another.
const OF_A_VEHICLE: [&str; 5] = ["vehicle", "motor", "upper_motor", "body", "cue"];

/// A text with the vehicle, motors, bodies and cues of another one; site, weather, limits, links and layouts stay.
pub fn with_vehicle_of(text: &str, other: &str) -> Result<String, String> {
    let parse = |text: &str| text.parse::<DocumentMut>().map_err(|error| error.to_string());
    let (mut doc, from) = (parse(text)?, parse(other)?);
    for key in OF_A_VEHICLE {
        doc.remove(key);
        let Some(mut item) = from.get(key).cloned() else { continue };
        // Places in the other file mean nothing here: they come last, in their own order.
        forget_place(&mut item);
        doc.insert(key, item);
    }
    Ok(doc.to_string())
}

fn forget_place(item: &mut Item) {
    match item {
        Item::Table(table) => {
            table.set_position(None);
            table.iter_mut().for_each(|(_, item)| forget_place(item));
        }
        Item::ArrayOfTables(list) => {
            for table in list.iter_mut() {
                table.set_position(None);
                table.iter_mut().for_each(|(_, item)| forget_place(item));
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_vehicle_is_taken_over_whole_and_the_rest_stays() {
        let tall = include_str!("../../../../demo-data/tall-order/setup.toml");
        let small = include_str!("../../../../demo-data/straight/setup.toml");
        let none = |_: &str| Err("no files".to_owned());
        let mixed = with_vehicle_of(small, tall).unwrap();
        let read = |text: &str| crate::read(text, "x", &mut none.clone()).unwrap_or_else(|r| panic!("{r}"));
        let (new, from, before) = (read(&mixed), read(tall), read(small));
        assert_eq!((&new.plan.vehicle, &new.plan.cues), (&from.plan.vehicle, &from.plan.cues));
        assert_eq!(new.plan.motors, from.plan.motors);
        assert_eq!((&new.site_name, &new.links), (&before.site_name, &before.links));
        assert!(mixed.contains("# A camera two seconds before apogee"), "its comments come along");
    }
}
