//! What a night says beyond the sums: whose fish cuts out low and how sure that is, what
//! it cost, since when a cutter drifts, and whether small fish is worth cutting.

use client::Pass;
use proto::v1;
use proto::v1::close_service_client::CloseServiceClient;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::key_service_client::KeyServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use proto::v1::yield_service_client::YieldServiceClient;
use serde_json::json;
use tonic::Code;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;

use crate::harness::{Keyed, Server, fresh, harbor, lb, message, one_tote, said, set_clock};

const DIVERS: [&str; 3] = ["wren-haldane", "osric-pell", "mara-denby"];
const CUTTERS: [&str; 2] = ["bess-orrin", "caleb-thrane"];
/// Fillet of 10 lb, as cuts go up and down; wren's fish gives 5 points less.
const FILLETS: [f64; 8] = [3.1, 2.9, 3.0, 3.05, 2.95, 3.15, 2.85, 3.0];

/// A day of three lots, each cut twice by alternating cutters; `late` is what the second
/// cutter gives less from then on. Then its night, by the program itself.
async fn a_day(server: &Server, day: usize, late: f64) -> v1::Close {
    let of_april = 13 + day;
    set_clock(server, &format!("2031-05-{of_april:02}T15:00:00-04:00")).await;
    let mut intake = IntakeServiceClient::new(server.channel().await);
    let mut stock = StockServiceClient::new(server.channel().await);
    for (n, diver) in DIVERS.iter().enumerate() {
        let request = v1::RecordWeighInRequest {
            harvester: (*diver).to_owned(),
            ..one_tote("24.00", "4.00", 25)
        };
        let ticket = intake.record_weigh_in(request).await.unwrap();
        let lot = ticket.into_inner().ticket.unwrap().lines[0]
            .lot_code
            .clone();
        for (m, cutter) in CUTTERS.iter().enumerate() {
            let low = if n == 0 { 0.5 } else { 0.0 } + if m == 1 { late } else { 0.0 };
            let fillet = FILLETS[(day + 3 * n + 5 * m) % FILLETS.len()] - low;
            let frames = 9.8 - fillet;
            let cut: v1::RecordMakingRequest = message(json!({
                "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_CUT",
                "specification": "skinless", "cutter": cutter, "minutes": "18",
                "inputs": [{
                    "part": { "lotCode": lot }, "weight": lb("10.00"), "emptied": m == 1
                }],
                "outputs": [
                    {
                        "presentation": "PRESENTATION_FILLET_SKINLESS", "fate": "OUTPUT_FATE_LOT",
                        "weight": lb(&format!("{fillet:.2}")), "storage": "STORAGE_DRAINED_ICE"
                    },
                    {
                        "presentation": "PRESENTATION_FRAMES", "fate": "OUTPUT_FATE_DISCARD",
                        "weight": lb(&format!("{frames:.2}")), "reason": "frames"
                    }
                ]
            }));
            stock.record_making(cut).await.unwrap();
        }
    }
    let next = of_april + 1;
    set_clock(server, &format!("2031-05-{next:02}T05:30:00-04:00")).await;
    let night = server.night(&format!("2031-05-{of_april:02}"), &[]);
    assert_eq!(night.status.code(), Some(1), "{}", said(&night));
    let mut closes = CloseServiceClient::new(server.channel().await);
    let request = v1::GetCloseRequest {
        site: 1,
        day: Some(date(of_april)),
        revision: 0,
    };
    closes
        .get_close(request)
        .await
        .unwrap()
        .into_inner()
        .close
        .unwrap()
}

fn date(day: usize) -> proto::google::r#type::Date {
    proto::google::r#type::Date {
        year: 2031,
        month: 5,
        day: i32::try_from(day).unwrap(),
    }
}

async fn with_key(server: &Server, role: v1::Role, party: &str) -> Keyed {
    let mut keys = KeyServiceClient::new(server.channel().await);
    let request = v1::IssueKeyRequest {
        request_id: fresh(),
        name: "phone".to_owned(),
        role: role.into(),
        party: party.to_owned(),
        ..v1::IssueKeyRequest::default()
    };
    let secret = keys.issue_key(request).await.unwrap().into_inner().secret;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("key");
    std::fs::write(&file, secret).unwrap();
    let channel = Channel::from_shared(server.url.clone()).unwrap();
    let channel = channel.connect().await.unwrap();
    InterceptedService::new(channel, Pass::in_file(&file).unwrap())
}

fn flags<'a>(close: &'a v1::Close, kind: &str) -> Vec<&'a v1::Flag> {
    close
        .flags
        .iter()
        .filter(|flag| flag.kind == kind)
        .collect()
}

#[tokio::test]
async fn whose_fish_cuts_out_low_is_named_once_it_is_sure_with_what_it_cost() {
    let server = harbor().await;
    let first = a_day(&server, 0, 0.0).await;
    let own = |close: &v1::Close, diver: &str| {
        let suppliers = &close.supplier_yields[0].suppliers;
        suppliers
            .iter()
            .find(|own| own.supplier == diver)
            .unwrap()
            .clone()
    };
    assert!(
        own(&first, "wren-haldane")
            .says
            .starts_with("too little to say: 2 of 6 cuts")
    );
    assert!(flags(&first, "supplier_low").is_empty());
    let mut last = first;
    for day in 1..8 {
        last = a_day(&server, day, 0.0).await;
    }
    let wren = own(&last, "wren-haldane");
    assert!(wren.named_low, "{wren:?}");
    assert!(wren.says.starts_with("cuts out 5."), "{}", wren.says);
    assert!(
        wren.says.contains("16 cuts, 160.00 lb, 8 days"),
        "{}",
        wren.says
    );
    for other in ["osric-pell", "mara-denby"] {
        let other = own(&last, other);
        assert!(
            !other.named_low && other.says.starts_with("no difference that names anybody"),
            "{other:?}"
        );
    }
    let [low] = flags(&last, "supplier_low")[..] else {
        panic!("one flag: {:?}", last.flags)
    };
    assert!(low.text.contains("Fish of wren-haldane"), "{}", low.text);
    assert!(low.text.contains("nobody's pay"), "{}", low.text);
    assert!(low.next_step.contains("diver"), "{}", low.next_step);
    assert_eq!(low.evidence.len(), 6, "{:?}", low.evidence);
    // 48 cuts of three suppliers are a reference; wren's two cuts of the day were under it.
    let group = &last.supplier_yields[0];
    assert_eq!(
        group.reference_source,
        "own history, 48 cuts of 3 suppliers"
    );
    let lost = last
        .losses
        .iter()
        .find(|loss| loss.name == "wren-haldane")
        .unwrap();
    assert_eq!(lost.by(), v1::LossBy::Supplier);
    let paid = 20.0 * 6.25; // pounds at the list's price
    let expected: f64 = group.reference_percent.parse().unwrap();
    let got: f64 = 100.0
        * last
            .cuts
            .iter()
            .take(2)
            .map(|cut| pounds(cut.fillet.as_ref()))
            .sum::<f64>()
        / 20.0;
    let short = paid * (1.0 - got / expected) * 100.0;
    let material = lost.material.as_ref().unwrap().amount_minor as f64;
    assert!((material - short).abs() <= 2.0, "{material} and {short}");
    assert_eq!(
        flags(&last, "supplier_low")[0]
            .value
            .as_ref()
            .unwrap()
            .amount_minor as f64,
        material
    );

    // The diver sees their own, and nothing of what the buyer's fish costs.
    let request = v1::ListSupplierYieldsRequest {
        site: 1,
        from: Some(date(13)),
        to: Some(date(21)),
        supplier: "wren-haldane".to_owned(),
        species: String::new(),
    };
    let office = YieldServiceClient::new(server.channel().await)
        .list_supplier_yields(request.clone())
        .await
        .unwrap()
        .into_inner();
    assert_eq!(office.groups[0].suppliers.len(), 1, "of the one asked for");
    // 60 lb at 6.25, two hours of wage and supplies are in the day's fillet.
    assert!(!last.edible_costs.is_empty());
    let diver = with_key(&server, v1::Role::Diver, "wren-haldane").await;
    let theirs = YieldServiceClient::new(diver)
        .list_supplier_yields(request)
        .await
        .unwrap()
        .into_inner();
    let [group] = &theirs.groups[..] else {
        panic!("{theirs:?}")
    };
    let names: Vec<&str> = group
        .suppliers
        .iter()
        .map(|own| own.supplier.as_str())
        .collect();
    assert_eq!(names, ["wren-haldane"]);
    assert_eq!(group.suppliers[0].says, wren.says);
    let text = said(&server.client(&[
        "yields",
        "--site",
        "1",
        "--from",
        "2031-05-13",
        "--to",
        "2031-05-21",
    ]));
    // Lines are wrapped.
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Fish of wren-haldane"), "{text}");
    assert!(text.contains("no difference that names anybody"), "{text}");
}

/// What is told of these days' fish, of one supplier or of all.
async fn told(
    channel: &Keyed,
    supplier: &str,
) -> Result<v1::ListSupplierYieldsResponse, tonic::Status> {
    let request = v1::ListSupplierYieldsRequest {
        site: 1,
        from: Some(date(13)),
        to: Some(date(14)),
        supplier: supplier.to_owned(),
        species: String::new(),
    };
    let mut yields = YieldServiceClient::new(channel.clone());
    Ok(yields.list_supplier_yields(request).await?.into_inner())
}

#[tokio::test]
async fn a_diver_answers_their_own_figure_and_it_stands_beside_it() {
    let server = harbor().await;
    a_day(&server, 0, 0.0).await;
    let office = server.channel().await;
    let [wren, osric] = [
        with_key(&server, v1::Role::Diver, "wren-haldane").await,
        with_key(&server, v1::Role::Diver, "osric-pell").await,
    ];
    let before = told(&office, "").await.unwrap();
    let asked = |supplier: &str, text: &str| v1::AnswerYieldRequest {
        request_id: fresh(),
        site: 1,
        supplier: supplier.to_owned(),
        species: "PZO".to_owned(),
        from: Some(date(13)),
        to: Some(date(14)),
        text: text.to_owned(),
    };
    let answer = async |channel: &Keyed, request: &v1::AnswerYieldRequest| {
        let mut yields = YieldServiceClient::new(channel.clone());
        let answered = yields.answer_yield(request.clone()).await;
        answered.map(tonic::Response::into_inner)
    };

    // Sent twice is one, and the first answer again, whatever was answered since.
    let first = asked("wren-haldane", "torn ones, ask who cut them");
    let booked = answer(&wren, &first).await.unwrap();
    let second = asked("wren-haldane", "and they lay in the sun");
    answer(&wren, &second).await.unwrap();
    assert_eq!(answer(&wren, &first).await.unwrap(), booked);
    let other_words = v1::AnswerYieldRequest {
        text: "something else".to_owned(),
        ..first.clone()
    };
    let reused = answer(&wren, &other_words).await.unwrap_err();
    assert_eq!(reused.code(), Code::AlreadyExists);
    // The office writes down what a diver says.
    answer(&office, &asked("osric-pell", "no complaint"))
        .await
        .unwrap();

    // Another's figure is refused like nobody's, and a kitchen answers none.
    let refusals = [
        answer(&osric, &asked("wren-haldane", "t")).await,
        answer(&osric, &asked("nobody-here", "t")).await,
    ];
    let refusals = refusals.map(Result::unwrap_err);
    assert_eq!(refusals[0].code(), Code::PermissionDenied);
    assert_eq!(refusals[0].message(), refusals[1].message());
    assert_eq!(refusals[0].details(), refusals[1].details());

    // Those see it who are to: the office all, a diver their own.
    let after = told(&office, "").await.unwrap();
    let said_by = |all: &v1::ListSupplierYieldsResponse| -> Vec<(String, String)> {
        let answers = all.answers.iter();
        answers.map(|a| (a.text.clone(), a.by.clone())).collect()
    };
    let row = |text: &str, by: &str| (text.to_owned(), by.to_owned());
    let of_wren = [
        row(&first.text, "diver wren-haldane (phone)"),
        row(&second.text, "diver wren-haldane (phone)"),
    ];
    let of_osric = row("no complaint", "office");
    assert_eq!(said_by(&after)[..2], of_wren);
    assert_eq!(said_by(&after)[2], of_osric);
    assert_eq!(
        said_by(&told(&wren, "wren-haldane").await.unwrap()),
        of_wren
    );
    assert_eq!(
        said_by(&told(&osric, "osric-pell").await.unwrap()),
        [of_osric]
    );
    // No figure changed, and what was told is kept with the answer.
    assert_eq!(
        (&after.yields, &after.groups),
        (&before.yields, &before.groups)
    );
    let kept = &after.answers[0].told;
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].supplier, "wren-haldane");
    assert!(before.yields.contains(&kept[0]), "{kept:?}");
    let said = said(&server.client(&[
        "yields",
        "--site",
        "1",
        "--from",
        "2031-05-13",
        "--to",
        "2031-05-14",
    ]));
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("Answered by diver wren-haldane (phone), 2031-05-14 05:30"),
        "{said}"
    );
    assert!(said.contains("\"and they lay in the sun\""), "{said}");

    // Where nothing is told there is nothing to answer.
    let nothing = v1::AnswerYieldRequest {
        from: Some(date(1)),
        to: Some(date(13)),
        ..asked("wren-haldane", "t")
    };
    let status = answer(&wren, &nothing).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
}

#[tokio::test]
async fn a_kitchen_sees_the_yields_of_whose_fish_it_got_and_no_answer() {
    let server = harbor().await;
    a_day(&server, 0, 0.0).await;
    let office = server.channel().await;
    let request = v1::RecordWeighInRequest {
        harvester: "wren-haldane".to_owned(),
        ..one_tote("24.00", "4.00", 25)
    };
    let mut intake = IntakeServiceClient::new(office.clone());
    let ticket = intake.record_weigh_in(request).await.unwrap().into_inner();
    let lot = ticket.ticket.unwrap().lines[0].lot_code.clone();
    let sold: v1::RecordMovementRequest = message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_SOLD_WHOLE",
        "counterparty": "hill-kitchen",
        "temperature": { "decimal": "38", "unit": "TEMPERATURE_UNIT_FAHRENHEIT" },
        "taken": [{ "part": { "lotCode": lot }, "weight": lb("3.00") }]
    }));
    let mut stock = StockServiceClient::new(office.clone());
    stock.record_movement(sold).await.unwrap();
    let mut yields = YieldServiceClient::new(office.clone());
    yields
        .answer_yield(v1::AnswerYieldRequest {
            request_id: fresh(),
            site: 1,
            supplier: "wren-haldane".to_owned(),
            species: "PZO".to_owned(),
            from: Some(date(13)),
            to: Some(date(14)),
            text: "between me and the buyer".to_owned(),
        })
        .await
        .unwrap();
    let kitchen = with_key(&server, v1::Role::Kitchen, "hill-kitchen").await;
    for supplier in ["wren-haldane", ""] {
        let seen = told(&kitchen, supplier).await.unwrap();
        assert_eq!(seen.yields.len(), 1, "{seen:?}");
        assert_eq!(seen.answers, []);
    }
    assert_eq!(told(&office, "").await.unwrap().answers.len(), 1);
}

fn reading(pounds: &str) -> v1::Reading {
    v1::Reading {
        decimal: pounds.to_owned(),
        unit: v1::WeightUnit::Lb.into(),
        scale: String::new(),
        source: v1::ReadingSource::Keyed.into(),
    }
}

fn pounds(weight: Option<&v1::Weight>) -> f64 {
    weight.unwrap().shown.parse().unwrap()
}

#[tokio::test]
async fn a_cutter_who_gives_less_than_in_the_days_called_in_order_is_flagged_once() {
    let server = harbor().await;
    for day in 0..6 {
        a_day(&server, day, 0.0).await;
    }
    let set = server.client(&[
        "set-baseline",
        "--site",
        "1",
        "--follows",
        "cutter",
        "--party",
        "caleb-thrane",
        "--from",
        "2031-05-13",
        "--to",
        "2031-05-19",
        "--reason",
        "a week in order",
    ]);
    assert!(set.status.success(), "{}", said(&set));
    let (mut flagged, mut last) = (Vec::new(), None);
    for day in 6..11 {
        let close = a_day(&server, day, 0.6).await;
        for flag in flags(&close, "yield_drift") {
            flagged.push((day, flag.text.clone()));
        }
        last = Some(close);
    }
    assert_eq!(flagged.len(), 1, "{flagged:?}");
    assert!(
        flagged[0].1.starts_with("Yield of cutter caleb-thrane: "),
        "{flagged:?}"
    );
    let last = last.unwrap();
    let [chart] = &last.charts[..] else {
        panic!("{:?}", last.charts)
    };
    assert_eq!(
        (chart.follows(), chart.baseline_cuts),
        (v1::Follows::Cutter, 18)
    );
    assert_eq!(chart.points.len(), 15);
    assert!(chart.says.contains("under its baseline"), "{}", chart.says);
    // A late answer changes no close: the baseline is of days that were over.
    let early = server.client(&[
        "set-baseline",
        "--site",
        "1",
        "--follows",
        "cutter",
        "--party",
        "caleb-thrane",
        "--from",
        "2031-05-13",
        "--to",
        "2031-06-19",
        "--reason",
        "not over",
    ]);
    assert!(
        !early.status.success() && said(&early).contains("days that are over"),
        "{}",
        said(&early)
    );
}

#[tokio::test]
async fn small_fish_is_weighed_against_soup_by_what_was_recorded_or_said() {
    let server = harbor().await;
    let ask = |words: &[&str]| {
        let fixed = [
            "small-fish",
            "--site",
            "1",
            "--species",
            "PZO",
            "--specification",
            "skinless",
        ];
        server.client(&[&fixed[..], words].concat())
    };
    // 0.23 x 18.00 - 18.00 x 1.6 / 60 / 0.35 - 0.10.
    let told = said(&ask(&[
        "--piece",
        "0.35",
        "--yield",
        "23",
        "--minutes",
        "1.6",
    ]));
    for words in [
        "2.6686 USD/lb",
        "1.75 USD/lb",
        ": cut",
        "Spines stay venomous",
        "local code",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    // Common practice: an hour for 20 lb of half-pound fish and 2.5 lb of fillet is close.
    let told = said(&ask(&[
        "--piece",
        "0.5",
        "--yield",
        "12.5",
        "--minutes",
        "1.5",
    ]));
    assert!(
        told.contains(": close") && !told.contains("hard to believe"),
        "{told}"
    );
    let nothing = ask(&["--piece", "0.5"]);
    assert!(
        !nothing.status.success() && said(&nothing).contains("--yield"),
        "{}",
        said(&nothing)
    );

    a_day(&server, 0, 0.0).await;
    let mut yields = YieldServiceClient::new(server.channel().await);
    let request = v1::WeighSmallFishRequest {
        site: 1,
        species: "PZO".to_owned(),
        specification: "skinless".to_owned(),
        piece: Some(reading("0.80")),
        yield_percent: None,
        minutes_per_fish: None,
    };
    let found = yields
        .weigh_small_fish(request.clone())
        .await
        .unwrap()
        .into_inner();
    assert_eq!(found.from_close, Some(date(13)));
    let fish = found.small_fish.unwrap();
    // 18 minutes for 12.5 fish of 0.80 lb.
    assert_eq!((fish.cuts, fish.timed_cuts), (6, 6), "{fish:?}");
    let minutes: f64 = fish.minutes_per_fish.parse().unwrap();
    assert!((1.3..1.5).contains(&minutes), "{fish:?}");
    let none = v1::WeighSmallFishRequest {
        piece: Some(reading("0")),
        ..request
    };
    let refused = yields.weigh_small_fish(none).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
}
