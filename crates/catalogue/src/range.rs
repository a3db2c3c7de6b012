//! Short forms for several references at once: `U16-U23`.

/// The most positions one range may name.
pub(crate) const MOST_MEMBERS: u32 = 256;

/// The references of a range such as `U16-U23`, or nothing if the text is none.
pub(crate) fn expand_range(text: &str) -> Option<Vec<String>> {
    let (from, to) = text.split_once('-')?;
    let (prefix, first) = split_number(from)?;
    let (other, last) = split_number(to)?;
    let right = prefix == other && first < last && last - first < MOST_MEMBERS;
    right.then(|| {
        (first..=last)
            .map(|number| format!("{prefix}{number}"))
            .collect()
    })
}

/// Letters and the number after them.
pub(crate) fn split_number(text: &str) -> Option<(&str, u32)> {
    let (prefix, digits) = text.split_at(text.find(|letter: char| letter.is_ascii_digit())?);
    let plain = !prefix.is_empty()
        && prefix.chars().all(char::is_alphabetic)
        && digits.chars().all(|digit| digit.is_ascii_digit())
        && (digits == "0" || !digits.starts_with('0'));
    Some((prefix, digits.parse().ok().filter(|_| plain)?))
}
