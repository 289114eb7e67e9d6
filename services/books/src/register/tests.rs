//! What the office keeps on file is found as it was recorded, on both engines.

use rules::business_day::SiteClock;
use rules::fish::{Grade, Hazard, Outlet, Presentation};
use rules::money::{Currency, UnitPrice};
use rules::office::PartyRole;
use rules::price_list::{Band, BandBy, GradePrices, PresentationPrices};
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};

use super::*;
use crate::conformance;
use crate::db::Db;
use crate::doc::entry_doc;
use crate::entries::tests::{SATURDAY, corrupt_at, deed, write};
use crate::scribe::{self, Deed};

conformance! {
    everything_on_file_is_found_in_its_latest_version, check_latest;
    sites_keep_their_own_file, check_sites;
    settings_hold_from_their_instant_until_the_next, check_settings;
    a_price_list_holds_from_its_instant_until_the_next, check_price_lists;
    the_epoch_of_a_site_rises_with_its_file, check_epochs;
    what_is_on_file_and_does_not_read_names_its_entry, check_corrupt;
    what_was_agreed_with_a_diver_is_kept_in_order, check_agreed;
    one_more_thing_on_file_is_taken_in_as_if_all_was_read_again, check_one_more;
    a_tote_is_found_as_it_was_at_an_instant, check_totes;
}

/// Records a version of something, and raises the site's epoch.
async fn record(
    db: &Db,
    kind: &'static str,
    site: i64,
    code: &str,
    from_us: i64,
    content: &impl Doc,
) -> i64 {
    let mut tx = db.read().await.unwrap();
    let written = tx.fetch("SELECT COUNT(*) FROM entry", &[]).await.unwrap()[0].int(0);
    drop(tx);
    let version = Deed {
        bumps: vec![site],
        // What was asked differs from what came of it: the latter is on file.
        doc: entry_doc(&"asked".to_owned(), content),
        rows: vec![row(kind, site, code, from_us)],
        ..deed(kind, &format!("file-{written}"))
    };
    write(db, version).await
}

async fn office(db: &Db) -> Office {
    load(&mut db.read().await.unwrap()).await.unwrap()
}

async fn check_one_more(db: Db) {
    let mut known = office(&db).await;
    let mut take_in = async |entry: i64| {
        let mut tx = db.read().await.unwrap();
        known = load_one_more(&mut tx, &known, entry, &[1]).await.unwrap();
        drop(tx);
        let all = office(&db).await;
        assert_eq!(format!("{known:?}"), format!("{all:?}"));
        known.clone()
    };
    take_in(record(&db, "site", 1, "", 0, &site(1, "North pier")).await).await;
    take_in(record(&db, "party", 1, "ana", 0, &party("Ana")).await).await;
    take_in(record(&db, "tote", 1, "blue-2", 5, &tote(1, "3.60")).await).await;
    let newer = record(&db, "tote", 1, "blue-2", 7, &tote(1, "3.65")).await;
    take_in(newer).await;
    // Again nothing is new.
    take_in(newer).await;
    // Somebody else was faster: all is read.
    record(&db, "settings", 1, "", 9, &settings(1, 4)).await;
    let last = record(&db, "settings", 1, "", 8, &settings(1, 5)).await;
    let known = take_in(last).await;
    assert_eq!(known.settings[&1].len(), 2);
}

async fn check_totes(db: Db) {
    record(&db, "tote", 1, "blue-2", 50, &tote(1, "3.60")).await;
    record(&db, "tote", 1, "blue-2", 70, &tote(1, "3.65")).await;
    let office = office(&db).await;
    // Before it was on file it is as it first was.
    for (at_us, tare) in [
        (0, "3.60"),
        (50, "3.60"),
        (69, "3.60"),
        (70, "3.65"),
        (99, "3.65"),
    ] {
        let found = office.tote_at(1, "blue-2", at_us);
        assert_eq!(found, Some(&tote(1, tare)), "{at_us}");
    }
    assert_eq!(office.tote_at(2, "blue-2", 99), None);
    assert_eq!(office.tote_at(1, "blue-3", 99), None);
}

fn usd() -> Currency {
    Currency::new("USD").unwrap()
}

fn lb(text: &str) -> Reading {
    Reading::new(text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap()
}

fn site(number: i64, name: &str) -> Site {
    Site {
        number,
        name: name.to_owned(),
        clock: SiteClock::new("America/New_York", 4).unwrap(),
        currency: usd(),
        buyer: "buyer".to_owned(),
        shown_unit: WeightUnit::Lb,
        location_description: "pier".to_owned(),
    }
}

fn party(name: &str) -> Party {
    Party {
        code: "ana".to_owned(),
        name: name.to_owned(),
        roles: vec![PartyRole::Harvester, PartyRole::Payee],
        licence_number: "SPL-1".to_owned(),
        licence_expires: None,
        contact: String::new(),
    }
}

fn species(name: &str) -> Species {
    Species {
        code: "PZO".to_owned(),
        name: name.to_owned(),
        scientific_name: "Pterois volitans".to_owned(),
        hazards: vec![Hazard::Venomous],
        lightest: None,
        heaviest: None,
    }
}

fn scale(site: i64, name: &str) -> Scale {
    Scale {
        site,
        code: "dock".to_owned(),
        name: name.to_owned(),
        accuracy_class: "III".to_owned(),
        division: lb("0.05"),
        capacity: lb("500"),
        tested_on: None,
        line: String::new(),
    }
}

fn tote(site: i64, tare: &str) -> Tote {
    Tote {
        site,
        code: "blue-2".to_owned(),
        tare: lb(tare),
        weighed_on: None,
    }
}

fn device(site: i64, name: &str) -> Device {
    Device {
        site,
        code: "tablet".to_owned(),
        name: name.to_owned(),
    }
}

fn settings(site: i64, hold_days: i64) -> Settings {
    Settings {
        site,
        undersize_outlet: Some(Outlet::Donation),
        hold_days: Some(hold_days),
        ..Settings::default()
    }
}

/// A list whose only price tells it from others.
fn list(site: i64, species: &str, e4: i64) -> PriceList {
    let price = UnitPrice::from_e4(e4, usd(), WeightUnit::Lb).unwrap();
    let band = Band {
        from: Weight::ZERO,
        to: None,
        price,
        name: "all".to_owned(),
    };
    let grades = GradePrices {
        grade: Grade::new("A").unwrap(),
        bands: vec![band],
        not_counted: None,
    };
    PriceList {
        site,
        species: species.to_owned(),
        effective_from_us: 0,
        band_by: BandBy::Piece,
        currency: usd(),
        price_per: WeightUnit::Lb,
        edge_unit: WeightUnit::Lb,
        presentations: vec![PresentationPrices {
            presentation: Presentation::Roe,
            plate_minimum: Weight::ZERO,
            grades: vec![grades],
        }],
        condition_adjustments: Vec::new(),
    }
}

/// The entry of the price list in force, and its only price; 0 and 0 for none.
fn priced(office: &Office, site: i64, species: &str, at_us: i64) -> (i64, i64) {
    let version = office.price_list_at(site, species, at_us);
    version.map_or((0, 0), |version| {
        let presentation = &version.content.presentations[0];
        (version.entry, presentation.grades[0].bands[0].price.e4())
    })
}

async fn check_latest(db: Db) {
    let empty = office(&db).await;
    assert!(empty.sites.is_empty() && empty.epochs.is_empty());
    for name in ["old", "new"] {
        let tare = if name == "old" { "3.60" } else { "3.65" };
        record(&db, "site", 1, "1", 0, &site(1, name)).await;
        record(&db, "party", 0, "ana", 0, &party(name)).await;
        record(&db, "species", 0, "PZO", 0, &species(name)).await;
        record(&db, "scale", 1, "dock", 0, &scale(1, name)).await;
        record(&db, "tote", 1, "blue-2", 0, &tote(1, tare)).await;
        record(&db, "device", 1, "tablet", 0, &device(1, name)).await;
    }
    let office = office(&db).await;
    let at = |code: &str| (1, code.to_owned());
    assert_eq!(office.sites, BTreeMap::from([(1, site(1, "new"))]));
    assert_eq!(
        office.parties,
        BTreeMap::from([("ana".to_owned(), party("new"))])
    );
    assert_eq!(
        office.species,
        BTreeMap::from([("PZO".to_owned(), species("new"))])
    );
    assert_eq!(
        office.scales,
        BTreeMap::from([(at("dock"), scale(1, "new"))])
    );
    assert_eq!(
        office.totes,
        BTreeMap::from([(at("blue-2"), tote(1, "3.65"))])
    );
    assert_eq!(
        office.devices,
        BTreeMap::from([(at("tablet"), device(1, "new"))])
    );
    assert!(office.settings.is_empty() && office.price_lists.is_empty());
}

async fn check_sites(db: Db) {
    for number in [1, 2] {
        let name = format!("of {number}");
        record(&db, "site", number, "x", 0, &site(number, &name)).await;
        record(&db, "scale", number, "dock", 0, &scale(number, &name)).await;
        record(&db, "tote", number, "blue-2", 0, &tote(number, "1")).await;
        record(&db, "device", number, "tablet", 0, &device(number, &name)).await;
        record(&db, "settings", number, "", 0, &settings(number, number)).await;
        let price = number * 10_000;
        record(
            &db,
            "price_list",
            number,
            "PZO",
            0,
            &list(number, "PZO", price),
        )
        .await;
    }
    let office = office(&db).await;
    for number in [1, 2] {
        let name = format!("of {number}");
        let at = |code: &str| (number, code.to_owned());
        assert_eq!(office.sites[&number].name, name);
        assert_eq!(office.scales[&at("dock")].name, name);
        assert_eq!(office.totes[&at("blue-2")].site, number);
        assert_eq!(office.devices[&at("tablet")].name, name);
        assert_eq!(office.settings_at(number, 0).1.hold_days(), number);
        assert_eq!(priced(&office, number, "PZO", 0).1, number * 10_000);
    }
}

async fn check_agreed(db: Db) {
    let agreed = |harvester: &str, e4| AgreedPrice {
        site: 1,
        harvester: harvester.to_owned(),
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        grade: None,
        from_us: Some(5),
        to_us: 9,
        price: UnitPrice::from_e4(e4, usd(), WeightUnit::Lb).unwrap(),
        below_plate: false,
        reason: "steady".to_owned(),
    };
    let first = record(&db, "agreed_price", 1, "ana", 5, &agreed("ana", 1)).await;
    record(&db, "agreed_price", 1, "ben", 5, &agreed("ben", 2)).await;
    let second = record(&db, "agreed_price", 1, "ana", 5, &agreed("ana", 3)).await;
    let office = office(&db).await;
    let of = |site, harvester| -> Vec<(i64, i64)> {
        let agreed = office.agreed_with(site, harvester);
        agreed
            .iter()
            .map(|(entry, a)| (*entry, a.price.e4()))
            .collect()
    };
    assert_eq!(of(1, "ana"), [(first, 1), (second, 3)]);
    assert_eq!(of(1, "ben").len(), 1);
    assert_eq!(of(2, "ana"), []);
    assert_eq!(of(1, "cyd"), []);
}

async fn check_settings(db: Db) {
    let three = record(&db, "settings", 1, "", 3_000, &settings(1, 3)).await;
    // Posted later, and holds before the other.
    let two = record(&db, "settings", 1, "", 2_000, &settings(1, 2)).await;
    // Of two from one instant the later posted holds.
    record(&db, "settings", 1, "", 4_000, &settings(1, 4)).await;
    let five = record(&db, "settings", 1, "", 4_000, &settings(1, 5)).await;
    let office = office(&db).await;
    for (at_us, entry, hold_days) in [
        // Before the first the defaults hold, of which three days is one.
        (i64::MIN, 0, None),
        (1_999, 0, None),
        (2_000, two, Some(2)),
        (2_999, two, Some(2)),
        (3_000, three, Some(3)),
        (3_999, three, Some(3)),
        (4_000, five, Some(5)),
        (i64::MAX, five, Some(5)),
    ] {
        let expected = hold_days.map_or_else(
            || Settings {
                site: 1,
                ..Settings::default()
            },
            |hold_days| settings(1, hold_days),
        );
        assert_eq!(office.settings_at(1, at_us), (entry, expected), "{at_us}");
    }
    let (none, defaults) = office.settings_at(2, i64::MAX);
    assert_eq!((none, defaults.site, defaults.hold_days), (0, 2, None));
    let posted: Vec<i64> = office.settings[&1].iter().map(|v| v.from_us).collect();
    assert_eq!(posted, [3_000, 2_000, 4_000, 4_000], "in order of posting");
}

async fn check_price_lists(db: Db) {
    let post = async |species: &str, from_us, e4| {
        record(
            &db,
            "price_list",
            1,
            species,
            from_us,
            &list(1, species, e4),
        )
        .await
    };
    let first = post("PZO", 1_000, 55_000).await;
    let second = post("PZO", 2_000, 60_000).await;
    post("PZO", 3_000, 1).await;
    let mended = post("PZO", 3_000, 65_000).await;
    let between = post("PZO", 2_500, 62_500).await;
    let other = post("LCX", 1_500, 80_000).await;
    let office = office(&db).await;
    for (species, at_us, expected) in [
        ("PZO", 999, (0, 0)),
        ("PZO", 1_000, (first, 55_000)),
        ("PZO", 1_999, (first, 55_000)),
        ("PZO", 2_000, (second, 60_000)),
        ("PZO", 2_499, (second, 60_000)),
        ("PZO", 2_500, (between, 62_500)),
        ("PZO", 2_999, (between, 62_500)),
        ("PZO", 3_000, (mended, 65_000)),
        ("PZO", i64::MAX, (mended, 65_000)),
        ("LCX", 1_499, (0, 0)),
        ("LCX", 1_500, (other, 80_000)),
        ("GPR", i64::MAX, (0, 0)),
    ] {
        let found = priced(&office, 1, species, at_us);
        assert_eq!(found, expected, "{species} at {at_us}");
    }
    assert_eq!(priced(&office, 2, "PZO", i64::MAX), (0, 0), "another site");
}

async fn check_epochs(db: Db) {
    // What all sites share is recorded with a rise of each.
    record(&db, "site", 1, "1", 0, &site(1, "one")).await;
    record(&db, "site", 2, "2", 0, &site(2, "two")).await;
    let shared = Deed {
        bumps: vec![0, 1, 2],
        doc: entry_doc(&(), &party("Ana")),
        rows: vec![row("party", 0, "ana", 0)],
        ..deed("party", "ana")
    };
    write(&db, shared).await;
    record(&db, "scale", 2, "dock", 0, &scale(2, "dock")).await;
    // Ordinary deeds raise none, on whatever day.
    let ordinary = Deed {
        day: SATURDAY,
        ..deed("weigh_in", "ordinary")
    };
    write(&db, ordinary).await;
    let office = office(&db).await;
    let mut tx = db.read().await.unwrap();
    for (site, epoch) in [(0, 2), (1, 3), (2, 4), (3, 1)] {
        assert_eq!(office.epoch(site), epoch, "{site}");
        assert_eq!(scribe::epoch(&mut tx, site).await.unwrap(), epoch, "{site}");
    }
    assert_eq!(office.epochs, BTreeMap::from([(0, 2), (1, 3), (2, 4)]));
}

async fn check_corrupt(db: Db) {
    record(&db, "site", 1, "1", 0, &site(1, "good")).await;
    // Found in the order of entries, so each is met before the next.
    let mut bad = 2;
    let mut meets = async |kind: &'static str, doc: &str, expected: (&str, &str)| {
        let version = Deed {
            day: SATURDAY,
            doc: doc.to_owned(),
            rows: vec![row(kind, 1, "x", 0)],
            ..deed(kind, &format!("bad-{bad}"))
        };
        let entry = write(&db, version).await;
        let read = load(&mut db.read().await.unwrap()).await;
        assert_eq!(corrupt_at(read), (expected.0, expected.1, entry), "{kind}");
        // Out of the way of the next.
        let mut tx = db.write().await.unwrap();
        tx.execute("DELETE FROM register WHERE entry = ?", &[entry.into()])
            .await
            .unwrap();
        tx.commit().await.unwrap();
        bad += 1;
    };
    let good = entry_doc(&(), &site(1, "good"));
    for kind in [
        "site",
        "party",
        "species",
        "scale",
        "tote",
        "device",
        "settings",
        "price_list",
    ] {
        meets(kind, "{}", ("entry", "doc")).await;
        meets(kind, "{", ("entry", "doc")).await;
    }
    meets("weather", &good, ("register", "kind")).await;
    assert_eq!(office(&db).await.sites.len(), 1, "only those were damaged");
}
