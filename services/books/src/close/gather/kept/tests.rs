use rules::fish::{Grade, Undersize};
use rules::money::{Currency, Money, UnitPrice};

use super::*;

fn lb(text: &str) -> Weight {
    WeightUnit::Lb.weigh(text).unwrap()
}

fn line(band: i64, from: &str, to: Option<&str>, pieces: Pieces) -> Line {
    let usd = Currency::new("USD").unwrap();
    let price = UnitPrice::new("5.25", usd, WeightUnit::Lb).unwrap();
    Line {
        lot: 1,
        part: 1,
        band,
        band_name: "small".to_owned(),
        band_from: lb(from),
        band_to: to.map(lb),
        grade: Grade::none(),
        condition: None,
        held: false,
        pieces,
        net: lb("33.00"),
        ice: Weight::ZERO,
        list_price: price,
        price,
        amount: Money::zero(usd),
        undersize: Undersize::No,
        proposed: None,
        proposed_reason: String::new(),
        agreed: None,
    }
}

#[test]
fn a_band_is_its_edges_as_people_read_them() {
    for (band, from, to, unit, read) in [
        (1, "0.50", Some("0.75"), WeightUnit::Lb, "0.50-0.75"),
        (2, "0.75", None, WeightUnit::Lb, "0.75+"),
        (1, "0", Some("0.5"), WeightUnit::Lb, "0.00-0.50"),
        (1, "0.50", Some("0.75"), WeightUnit::Kg, "0.227-0.34"),
        // Not counted: the fish are not known to be of any size.
        (0, "0", None, WeightUnit::Lb, ""),
    ] {
        let line = line(band, from, to, Pieces::NotCounted);
        assert_eq!(edges(&line, unit), read);
    }
}

#[test]
fn pieces_go_with_the_weight_and_a_guess_is_none() {
    use Pieces::{Counted, Estimated, NotCounted};
    // Of a line of 33.00 lb.
    for (pieces, weight, share) in [
        (Counted(66), "33.00", Some(66)),
        (Counted(66), "32.80", Some(66)), // 65.6: some has dripped off
        (Counted(66), "0.74", Some(1)),   // 1.48
        (Counted(66), "0.75", Some(2)),   // 1.50
        (Counted(66), "0.20", None),      // 0.40: not one fish
        (Counted(0), "33.00", None),
        (Estimated(66), "33.00", None),
        (NotCounted, "33.00", None),
    ] {
        let line = line(1, "0.50", None, pieces);
        assert_eq!(
            share_of_pieces(&line, lb(weight)),
            share,
            "{pieces:?} {weight}"
        );
    }
    let mut nothing = line(1, "0.50", None, Counted(66));
    nothing.net = Weight::ZERO;
    assert_eq!(share_of_pieces(&nothing, lb("1")), None);
}
