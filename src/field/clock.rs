//! Times as logs write them, in seconds.

/// Seconds of a time: a number of seconds, `hh:mm:ss`, or a date with a time such as `2026-05-04T08:15:30.5Z`.
pub fn seconds(text: &str) -> Option<f64> {
    if let Ok(number) = text.parse::<f64>() {
        return number.is_finite().then_some(number);
    }
    match text.find(['T', ' ']) {
        Some(cut) if text.is_char_boundary(cut) => {
            Some(86_400.0 * days(&text[..cut])? as f64 + zoned(text[cut + 1..].trim())?)
        }
        _ => zoned(text),
    }
}

/// Seconds since midnight of `hhmmss.ss`.
pub fn packed(text: &str) -> Option<f64> {
    if text.len() < 6 || !text.bytes().all(|b| b.is_ascii_digit() || b == b'.') {
        return None;
    }
    of_day(text.get(..2)?, text.get(2..4)?, text.get(4..)?)
}

fn of_day(hours: &str, minutes: &str, seconds: &str) -> Option<f64> {
    let (h, m, s): (u32, u32, f64) = (
        hours.parse().ok()?,
        minutes.parse().ok()?,
        seconds.parse().ok()?,
    );
    // 60 s is a leap second.
    (h < 24 && m < 60 && (0.0..61.0).contains(&s)).then(|| f64::from(3600 * h + 60 * m) + s)
}

/// `hh:mm:ss`, perhaps with `Z` or a distance from it.
fn zoned(text: &str) -> Option<f64> {
    let text = text.trim_end_matches(['Z', 'z']);
    let (clock, shift_s) = match text.rfind(['+', '-']) {
        None => (text, 0.0),
        Some(cut) => {
            let (hours, minutes) = text[cut + 1..]
                .split_once(':')
                .or(text[cut + 1..].split_at_checked(2))?;
            let minutes = if minutes.is_empty() { "0" } else { minutes };
            let ahead_s = of_day(hours, minutes, "0")?;
            (
                &text[..cut],
                if text[cut..].starts_with('+') {
                    ahead_s
                } else {
                    -ahead_s
                },
            )
        }
    };
    let mut parts = clock.splitn(3, ':');
    let (h, m) = (parts.next()?, parts.next()?);
    Some(of_day(h, m, parts.next().unwrap_or("0"))? - shift_s)
}

/// Days since 1970 of `2026-05-04`, by the calendar of Gregory.
fn days(text: &str) -> Option<i64> {
    let mut parts = text.trim().splitn(3, '-');
    let year: i64 = parts.next()?.parse().ok()?;
    let month: i64 = parts.next()?.parse().ok()?;
    let day: i64 = parts.next()?.parse().ok()?;
    if !(1900..2200).contains(&year) || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    // Years begin in March here, so that the leap day is their last.
    let (year, month) = if month > 2 {
        (year, month - 3)
    } else {
        (year - 1, month + 9)
    };
    Some(
        365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day - 1 - 719_468,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_times_of_every_kind() {
        assert_eq!(seconds("12.5"), Some(12.5));
        assert_eq!(seconds("01:02:03.5"), Some(3723.5));
        assert_eq!(seconds("1970-01-02T00:00:01Z"), Some(86_401.0));
        assert_eq!(seconds("2000-03-01 00:00:00"), Some(951_868_800.0));
        assert_eq!(seconds("2000-03-01T02:30:00+02:30"), Some(951_868_800.0));
        assert_eq!(seconds("2000-02-29T23:00:00-0100"), Some(951_868_800.0));
        assert_eq!(packed("081530.25"), Some(29_730.25));
        for wrong in [
            "",
            "noon",
            "2026-13-01T00:00:00Z",
            "25:00:00",
            "\u{fc}T",
            "2026-05-04T+",
            "NaN",
            "T",
        ] {
            assert_eq!(seconds(wrong), None, "{wrong}");
        }
        for wrong in ["", "0815", "-81530", "99\u{e9}999", "246000"] {
            assert_eq!(packed(wrong), None, "{wrong}");
        }
    }
}
