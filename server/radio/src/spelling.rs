//! Names near to a misspelt one: edit distance with transpositions (Damerau 1964, in the restricted form), ignoring
//! case and punctuation.

/// Up to three names that are near to `written`, the nearest first; none if none is near.
pub fn nearest<'a>(written: &str, names: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let wanted = plain(written);
    let limit = (wanted.len() / 3).clamp(1, 4);
    let mut found: Vec<(usize, &str)> =
        names.map(|name| (distance(&wanted, &plain(name)), name)).filter(|(d, _)| *d <= limit).collect();
    found.sort_by_key(|(d, _)| *d);
    found.truncate(3);
    found.into_iter().map(|(_, name)| name).collect()
}

/// Lower case without punctuation, at most 64 characters: longer ones are no slip of the pen.
fn plain(name: &str) -> Vec<char> {
    let kept = |c: &char| c.is_alphanumeric() || matches!(c, '%' | '/');
    name.chars().filter(kept).flat_map(char::to_lowercase).take(64).collect()
}

fn distance(a: &[char], b: &[char]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, &x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, &y) in b.iter().enumerate() {
            let mut best = (last[j] + usize::from(x != y)).min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && x == b[j - 1] && y == a[i - 1] {
                best = best.min(before[j - 1] + 1);
            }
            row.push(best);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_likely_name_comes_first() {
        let names = ["pressure", "temperature", "latitude", "longitude"];
        assert_eq!(nearest("presure", names.into_iter()), ["pressure"]);
        assert_eq!(nearest("lattitude", names.into_iter()).first(), Some(&"latitude"));
        assert!(nearest("zebra", names.into_iter()).is_empty());
        assert!(nearest("", names.into_iter()).is_empty());
    }

    #[test]
    fn two_letters_swapped_count_once() {
        let d = |a: &str, b: &str| distance(&plain(a), &plain(b));
        assert_eq!(d("hPa", "hap"), 1);
        assert_eq!(d("", "abc"), 3);
        assert_eq!(d("kitten", "sitting"), 3);
    }
}
