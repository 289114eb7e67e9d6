//! How a landing reads: its depth and the time fished.

use proto::v1;

/// `40 to 95 ft`.
pub(crate) fn depth(depth: Option<&v1::Depth>) -> String {
    let Some(depth) = depth else {
        return String::new();
    };
    let unit = match v1::DepthUnit::try_from(depth.unit) {
        Ok(v1::DepthUnit::Foot) => "ft",
        Ok(v1::DepthUnit::Metre) => "m",
        Ok(v1::DepthUnit::Fathom) => "fathom",
        Ok(v1::DepthUnit::Unspecified) | Err(_) => "",
    };
    if depth.to.is_empty() {
        format!("{} {unit}", depth.from)
    } else {
        format!("{} to {} {unit}", depth.from, depth.to)
    }
}

/// `125.5 minutes`.
pub(crate) fn minutes(decimal: &str) -> String {
    if decimal.is_empty() {
        String::new()
    } else {
        format!("{decimal} minutes")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_depth_has_one_end_or_two() {
        let at = |from: &str, to: &str, unit: v1::DepthUnit| {
            depth(Some(&v1::Depth {
                from: from.to_owned(),
                to: to.to_owned(),
                unit: unit.into(),
            }))
        };
        assert_eq!(at("40", "95.5", v1::DepthUnit::Foot), "40 to 95.5 ft");
        assert_eq!(at("12", "", v1::DepthUnit::Metre), "12 m");
        assert_eq!(at("5", "10", v1::DepthUnit::Fathom), "5 to 10 fathom");
        assert_eq!((depth(None), minutes("")), (String::new(), String::new()));
        assert_eq!(minutes("125.5"), "125.5 minutes");
    }
}
