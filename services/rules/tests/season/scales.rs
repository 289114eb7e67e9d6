//! Scales as they are: off by something, and showing whole divisions.
//!
//! What a scale may be off by is worked out here anew, so that the noise does not
//! come from the budget it is judged by: NIST Handbook 44, section 2.20, table 6,
//! maintenance tolerances of class III.

use rules::business_day::date_of;
use rules::office;
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};

use crate::chance::Chance;

/// A weight as a scale shows it, in hundredths of a pound.
pub(crate) type Shown = i64;

pub(crate) struct Scale {
    pub(crate) code: &'static str,
    name: &'static str,
    /// Hundredths of a pound.
    division: i64,
    capacity: &'static str,
    /// How much of the permissible error it is off by today, -1 to 1.
    today: f64,
    /// What it weighs too much of each pound, since it drifted.
    pub(crate) drifted: f64,
}

/// Takes the fish in, sells it and counts it.
pub(crate) fn dock() -> Scale {
    Scale {
        code: "dock",
        name: "Dock scale",
        division: 5,
        capacity: "150",
        today: 0.0,
        drifted: 0.0,
    }
}

/// Weighs what is cut, and the fillet.
pub(crate) fn table() -> Scale {
    Scale {
        code: "table",
        name: "Table scale",
        division: 2,
        capacity: "30",
        today: 0.0,
        drifted: 0.0,
    }
}

impl Scale {
    pub(crate) fn new_day(&mut self, chance: &mut Chance) {
        self.today = chance.between(-1.0, 1.0);
    }

    /// What it shows of a load in pounds.
    pub(crate) fn show(&self, load_lb: f64) -> Shown {
        let division = self.division as f64 / 100.0;
        let permissible = match load_lb / division {
            n if n <= 500.0 => 1.0,
            n if n <= 2_000.0 => 2.0,
            n if n <= 4_000.0 => 3.0,
            _ => 5.0,
        };
        let off = load_lb * (1.0 + self.drifted) + self.today * permissible * division;
        (off / division).round().max(0.0) as i64 * self.division
    }

    /// As it is on file.
    pub(crate) fn on_file(&self) -> office::Scale {
        office::Scale {
            site: 1,
            code: self.code.to_owned(),
            name: self.name.to_owned(),
            accuracy_class: "III".to_owned(),
            division: reading(self.division, ""),
            capacity: Reading::new(self.capacity, WeightUnit::Lb, "", ReadingSource::Keyed)
                .expect("a capacity is a number"),
            tested_on: date_of(20_310_311),
            line: String::new(),
        }
    }
}

/// As somebody keys it.
pub(crate) fn reading(shown: Shown, scale: &str) -> Reading {
    let text = format!("{}.{:02}", shown / 100, shown % 100);
    Reading::new(&text, WeightUnit::Lb, scale, ReadingSource::Keyed)
        .expect("what a scale shows is a number")
}

pub(crate) fn weight(shown: Shown) -> Weight {
    reading(shown, "").weight
}

#[test]
fn no_scale_is_further_off_than_handbook_44_lets_one_be() {
    let mut chance = Chance::new(7);
    let lb = |hundredths: f64| hundredths * 453_592_370.0;
    for mut scale in [dock(), table()] {
        for _ in 0..50 {
            scale.new_day(&mut chance);
            let load = chance.between(0.5, 29.0);
            let shown = weight(scale.show(load));
            let permissible = rules::tolerance::permissible_error(&scale.on_file(), shown)
                .expect("its class is known");
            let off = (shown.units() as f64 - lb(load * 100.0)).abs();
            // It shows whole divisions: half of one more.
            let most = permissible.units() as f64 + lb(scale.division as f64 / 2.0);
            assert!(off <= most, "{} of {load} lb", scale.code);
        }
    }
}
