//! What a night keeps of its day.

use books::close::{CutInput, cuts_of, days_of_cuts};

use super::*;

conformance! {
    a_night_keeps_what_went_into_its_cuts, cuts;
    fish_of_a_pool_is_kept_by_the_shares_of_its_sources, pooled_fish;
    what_is_kept_of_a_ticket_written_again_is_of_the_new_one, written_again;
    the_weight_kept_of_a_day_is_that_of_the_weight_book, weight;
}

/// Cuts of the days, each as a line, and the closes read.
async fn kept(dock: &Dock, from: DayNumber, to: DayNumber) -> (Vec<String>, Vec<(i64, i64)>) {
    let mut tx = dock.db.read().await.unwrap();
    let read = days_of_cuts(&mut tx, SITE, from, to).await.unwrap();
    let cuts = cuts_of(&mut tx, SITE, &read).await.unwrap();
    tx.rollback().await;
    let line = |cut: &CutInput| {
        format!(
            "{} of {} {} {}, {} fish, {} for {} in {} by {}",
            cut.weight.shown(WeightUnit::Lb),
            cut.supplier,
            cut.band,
            cut.condition
                .map_or("not said", |condition| condition.word()),
            cut.pieces.unwrap_or(0),
            cut.fillet.shown(WeightUnit::Lb),
            cut.specification,
            cut.minutes_e2.unwrap_or(-1),
            cut.cutter,
        )
    };
    (cuts.iter().map(line).collect(), read)
}

async fn cuts(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    let out_of = part(ana, 1);
    dock.cut(MONDAY, 12, "ana", out_of, ["10", "3", "6.8", "0.2"])
        .await;
    dock.cut(TUESDAY, 12, "ana", out_of, ["5", "1.5", "3.4", "0.1"])
        .await;
    dock.night(TUESDAY).await;
    let [monday, tuesday] = ["10.00", "5.00"].map(|weight| {
        let fillet = if weight == "5.00" { "1.50" } else { "3.00" };
        format!("{weight} of ana 0.00+ clean, 0 fish, {fillet} for skinless in -1 by cutter")
    });
    assert_eq!(
        kept(&dock, MONDAY, TUESDAY).await,
        (
            vec![monday.clone(), tuesday.clone()],
            vec![(MONDAY, 1), (TUESDAY, 1)]
        )
    );
    // A late cut makes another revision of Monday, and of Tuesday, which opened with more.
    dock.entered_on = Some(WEDNESDAY);
    dock.cut(MONDAY, 13, "ana", out_of, ["5", "1.5", "3.4", "0.1"])
        .await;
    dock.night(TUESDAY).await;
    assert_eq!(
        kept(&dock, 0, THURSDAY).await,
        (
            vec![monday, tuesday.clone(), tuesday.clone()],
            vec![(MONDAY, 2), (TUESDAY, 2)]
        ),
        "of each day the latest revision"
    );
    assert_eq!(
        kept(&dock, TUESDAY, TUESDAY).await,
        (vec![tuesday], vec![(TUESDAY, 2)])
    );
    assert_eq!(kept(&dock, THURSDAY, THURSDAY).await, (vec![], vec![]));
}

async fn pooled_fish(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "30").await;
    let ben = dock.weigh_in(MONDAY, 6, "ben", "10").await;
    let bin = [(part(ana, 1), "30"), (part(ben, 1), "10")];
    let pool = dock.pooled_and_counted(MONDAY, 20, &bin, "40").await;
    dock.cut(TUESDAY, 9, "", part(pool, 1), ["10", "3", "6.8", "0.2"])
        .await;
    dock.night(TUESDAY).await;
    // Three quarters of the bin were ana's.
    assert_eq!(
        kept(&dock, TUESDAY, TUESDAY).await.0,
        [
            "7.50 of ana 0.00+ clean, 0 fish, 3.00 for skinless in -1 by cutter",
            "2.50 of ben 0.00+ clean, 0 fish, 3.00 for skinless in -1 by cutter",
        ]
    );
}

async fn written_again(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.pieces = Pieces::Counted(21);
    let ana = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    dock.cut(MONDAY, 12, "ana", part(ana, 1), ["10", "3", "6.8", "0.2"])
        .await;
    dock.night(MONDAY).await;
    // A quarter of 21 fish, half up.
    let cut = |fish| {
        vec![format!(
            "10.00 of ana 0.00+ clean, {fish} fish, 3.00 for skinless in -1 by cutter"
        )]
    };
    assert_eq!(kept(&dock, MONDAY, MONDAY).await.0, cut(5));
    dock.pieces = Pieces::Counted(66);
    dock.ticket(MONDAY, 14, "ana", "40", Some(ana), Undersize::No)
        .await;
    dock.night(MONDAY).await;
    // 16.5 fish.
    assert_eq!(kept(&dock, MONDAY, MONDAY).await.0, cut(17));
}

/// The day's weight book by the kinds of its places, from the view; what entered and
/// left again leaves nothing.
async fn book_of(dock: &Dock, day: DayNumber) -> BTreeMap<(String, String), i64> {
    let kind = |place: &str| match place.split_once(':') {
        Some(("part", _)) => "part".to_owned(),
        _ => place.to_owned(),
    };
    let mut tx = dock.db.read().await.unwrap();
    let range = [entry_id(day, SITE, 0), entry_id(day, SITE, 9_999_999)];
    let sql = "SELECT from_place, to_place, amount FROM weight_book WHERE entry BETWEEN ? AND ?";
    let mut sums = BTreeMap::new();
    for row in tx.fetch(sql, &range.map(Val::Int)).await.unwrap() {
        let (from, to) = (kind(row.text(0)), kind(row.text(1)));
        if from == to {
            continue;
        }
        // A ticket that was ended goes back the way it came.
        let (pair, weight) = if to == "landing" {
            ((to, from), -row.int(2))
        } else {
            ((from, to), row.int(2))
        };
        *sums.entry(pair).or_default() += weight;
    }
    tx.rollback().await;
    sums.retain(|_, weight| *weight != 0);
    sums
}

async fn weight(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    let ben = dock.weigh_in(MONDAY, 7, "ben", "20").await;
    let gone = dock.weigh_in(MONDAY, 7, "cal", "5").await;
    dock.void(MONDAY, gone, "cal", 2_625).await;
    dock.ticket(MONDAY, 8, "ben", "21", Some(ben), Undersize::No)
        .await;
    dock.held(MONDAY, 8, ana, "10").await;
    dock.cut(MONDAY, 9, "ana", part(ana, 1), ["10", "3", "6.8", "0.2"])
        .await;
    let sold = dock
        .moved(MONDAY, 10, part(ben, 1), Outlet::SoldWhole, "19", false)
        .await;
    dock.brought_back(MONDAY, 11, part(ben, 1), sold, "2").await;
    dock.counted(MONDAY, 20, &[(part(ana, 1), "18.5"), (part(ana, 2), "9.8")])
        .await;
    dock.night(MONDAY).await;
    let bin = [(part(ana, 1), "18.5"), (part(ana, 2), "9.8")];
    dock.pooled_and_counted(TUESDAY, 3, &bin, "28").await;
    dock.night(TUESDAY).await;

    let without_ice = adds_up(&dock).await;
    for (day, kinds) in [(MONDAY, 9), (TUESDAY, 4)] {
        let mut tx = dock.db.read().await.unwrap();
        let sql = "SELECT from_place, to_place, supplier, species, weight FROM weight_day \
                   WHERE site = ? AND day = ?";
        let rows = tx.fetch(sql, &[SITE, day].map(Val::Int)).await.unwrap();
        tx.rollback().await;
        let mut sums: BTreeMap<(String, String), i64> = BTreeMap::new();
        for row in &rows {
            let of_a_lot = row.text(0) != "table" || row.text(1) == "part";
            let species = if of_a_lot { "PZO" } else { "" };
            assert_eq!(row.text(3), species, "{} to {}", row.text(0), row.text(1));
            let pair = (row.text(0).to_owned(), row.text(1).to_owned());
            *sums.entry(pair).or_default() += row.int(4);
        }
        assert_eq!(sums, book_of(&dock, day).await);
        assert_eq!(sums.len(), kinds, "{sums:?}");
        if day == MONDAY {
            let bought: Vec<_> = rows
                .iter()
                .filter(|row| row.text(0) == "landing")
                .map(|row| (row.text(2), row.int(4)))
                .collect();
            assert_eq!(bought.len(), 2, "cal's was voided");
            assert!(bought.contains(&("ana", lb("40").units())));
            assert!(
                bought.contains(&("ben", lb("21").units())),
                "as written again"
            );
        }
    }

    let mut tx = dock.db.write().await.unwrap();
    let sql = "UPDATE line SET ice = 7 WHERE ticket = ?";
    assert_eq!(tx.execute(sql, &[Val::Int(ana)]).await.unwrap(), 1);
    tx.commit().await.unwrap();
    assert_eq!(adds_up(&dock).await, without_ice + 1);
}

/// One statement over everything says the same as one for each day. How many sums there
/// are.
async fn adds_up(dock: &Dock) -> usize {
    let mut tx = dock.db.read().await.unwrap();
    let all = close::weight_of_book(&mut tx).await.unwrap();
    let mut by_day = BTreeMap::new();
    for day in [MONDAY, TUESDAY] {
        let of_day = close::weight_of_day(&mut tx, SITE, day).await.unwrap();
        let number = day * 10_000 + SITE;
        by_day.extend(
            of_day
                .into_iter()
                .map(|(key, weight)| ((number, key), weight)),
        );
    }
    tx.rollback().await;
    assert_eq!(all, by_day);
    all.len()
}
