//! Which of the allowed words was probably meant.
//!
//! Damerau and Levenshtein's distance (insertions, deletions, replacements and swaps of neighbours), after
//! case, spaces and dashes are set aside; a word that is part of an allowed one counts as near.

/// Words longer than this are not compared: no key or name of ours is.
const LONGEST: usize = 60;

/// The allowed word nearest to `word`, if any is near enough to be worth saying.
pub(crate) fn nearest<'a>(word: &str, allowed: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if word.chars().count() > LONGEST {
        return None;
    }
    let plain = fold(word);
    if plain.is_empty() {
        return None;
    }
    allowed
        .into_iter()
        .filter_map(|candidate| distance(&plain, &fold(candidate)).map(|d| (d, candidate)))
        .min_by_key(|&(d, _)| d)
        .map(|(_, candidate)| candidate)
}

/// Distance in steps, `None` when too far to be meant.
fn distance(word: &str, candidate: &str) -> Option<usize> {
    let steps = strsim::damerau_levenshtein(word, candidate);
    let longer = word.chars().count().max(candidate.chars().count());
    // A third of the letters may differ: `longitud` and `lon_deg` are near, `mass` and `name` are not.
    if steps * 3 <= longer {
        return Some(steps);
    }
    // `mass` for `liftoff_mass_kg`, `diameter` for `diameter_m`.
    let part =
        word.len() >= 3 && candidate.len() >= 3 && (candidate.contains(word) || word.contains(candidate));
    part.then_some(steps + LONGEST)
}

/// Small letters, one kind of gap.
fn fold(word: &str) -> String {
    word.trim().to_lowercase().replace([' ', '-', '.'], "_")
}

/// A list longer than this is not written out in a sentence.
const WRITTEN_OUT: usize = 18;

/// The list of allowed words, for a sentence.
pub(crate) fn listed<'a>(allowed: impl IntoIterator<Item = &'a str>) -> String {
    let mut quoted: Vec<String> = allowed.into_iter().map(|word| format!("`{word}`")).collect();
    quoted.dedup();
    match quoted.as_slice() {
        many if many.len() > WRITTEN_OUT => {
            format!("one of {} words, such as {}", many.len(), many[..4].join(", "))
        }
        [] => "nothing".to_owned(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn slips_of_the_hand_find_their_word() {
        let keys = ["latitude_deg", "longitude_deg", "elevation_m", "liftoff_mass_kg", "diameter_m"];
        for (typed, meant) in [
            ("latitude_degrees", "latitude_deg"),
            ("longtitude_deg", "longitude_deg"),
            ("Elevation-m", "elevation_m"),
            ("mass_kg", "liftoff_mass_kg"),
            ("diameter", "diameter_m"),
        ] {
            assert_eq!(nearest(typed, keys), Some(meant), "{typed}");
        }
        assert_eq!(nearest("colour", keys), None);
        assert_eq!(nearest("", keys), None);
        assert_eq!(nearest(&"x".repeat(10_000), keys), None);
    }
}
