//! A price list is looked at before it is posted: from a file, through the
//! service, against what was paid.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;

use crate::harness::{Server, harbor, one_tote, said, set_clock};

const LIST: &str = r#"site = 1
species = "PZO"
band_by = "piece"
price_per = "lb"
edge_unit = "lb"

[[presentation]]
form = "whole"
plate_minimum = "0.50"

[[presentation.grade]]
grade = "A"
bands = [
  { from = "0", to = "0.50", price = "1.25", name = "below plate" },
  { from = "0.50", to = "0.75", price = "5.25", name = "small plate" },
  { from = "0.75", price = "6.50", name = "plate" },
]

[condition]
torn = "-2.00"
"#;

async fn weigh_in(server: &Server, request: v1::RecordWeighInRequest) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await.unwrap();
    answer.into_inner().ticket.unwrap()
}

#[tokio::test]
async fn a_list_is_explained_and_shows_what_the_week_would_have_paid() {
    let server = harbor().await;
    // 40.00 lb at 0.80 lb a fish: 6.25 a pound on the list in force.
    for diver in ["wren-haldane", "wren-haldane", "osric-pell"] {
        let mut request = one_tote("44.00", "4.00", 50);
        request.harvester = diver.to_owned();
        let ticket = weigh_in(&server, request).await;
        assert_eq!(ticket.payout.unwrap().amount_minor, 25_000);
    }
    // Grade B has no price on the new list.
    let mut other_grade = one_tote("44.00", "4.00", 50);
    other_grade.lots[0].weighings[0].grade = "B".to_owned();
    let unpriced = weigh_in(&server, other_grade).await;
    set_clock(&server, "2031-04-29T09:00:00-04:00").await;

    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("may.toml");
    let path = file.to_str().unwrap();
    std::fs::write(&file, LIST).unwrap();
    let checked = server.client(&["price-list", "check", path, "--site", "1"]);
    let text = said(&checked);
    assert!(checked.status.success(), "{text}");
    let line = |with: &str| {
        let line = text.lines().find(|line| line.contains(with));
        line.unwrap_or_else(|| panic!("no line with {with}:\n{text}"))
    };
    assert!(
        line("0.50 to under 0.75 lb").contains("5.25 USD/lb; a fish of 0.62 lb pays 3.26 USD"),
        "{text}"
    );
    assert!(
        text.contains("pays 0.31 USD; below the\n    plate minimum"),
        "{text}"
    );
    // 40.00 lb at 6.50 are 260.00: 10.00 more a ticket.
    for (who, figures) in [
        ("wren-haldane", ["2", "500.00", "520.00", "20.00"]),
        ("osric-pell", ["1", "250.00", "260.00", "10.00"]),
        ("all divers", ["3", "750.00", "780.00", "30.00"]),
    ] {
        let told = line(who);
        assert!(figures.iter().all(|figure| told.contains(figure)), "{told}");
    }
    assert!(line(&unpriced.id).contains("could not be priced"), "{text}");

    // Nothing was written: the list in force pays as before.
    let ticket = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    assert_eq!(ticket.payout.unwrap().amount_minor, 25_000);

    // The same file is posted, and holds a minute later.
    let posted = server.client(&["price-list", "post", path, "--site", "1"]);
    assert!(posted.status.success(), "{}", said(&posted));
    set_clock(&server, "2031-04-29T09:01:00-04:00").await;
    let ticket = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    assert_eq!(ticket.payout.unwrap().amount_minor, 26_000);
}

#[tokio::test]
async fn a_list_that_cannot_stand_is_refused_with_the_line_of_its_file() {
    let server = harbor().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("may.toml");
    for (from, to, line, rule) in [
        (
            "to = \"0.50\"",
            "to = \"0.49\"",
            15,
            "nothing is paid from 0.49 lb to 0.50 lb",
        ),
        (
            "to = \"0.50\"",
            "to = \"0.51\"",
            15,
            "two bands cover 0.50 lb to 0.51 lb",
        ),
        (
            "plate_minimum = \"0.50\"",
            "plate_minimum = \"0.60\"",
            9,
            "0.60 lb is not an edge",
        ),
        ("price = \"5.25\"", "price = \"five\"", 15, "price"),
        ("species = \"PZO\"", "species = \"XXX\"", 2, "XXX"),
        ("site = 1", "site = 2", 1, "the list is for site 2"),
    ] {
        std::fs::write(&file, LIST.replacen(from, to, 1)).unwrap();
        for what in ["check", "post"] {
            let path = file.to_str().unwrap();
            let refused = server.client(&["price-list", what, path, "--site", "1"]);
            let text = said(&refused);
            assert_eq!(refused.status.code(), Some(1), "{to}: {text}");
            assert!(
                text.contains(&format!("may.toml, line {line}: ")) && text.contains(rule),
                "{to}: {text}"
            );
        }
    }
}

#[tokio::test]
async fn the_service_refuses_bad_days_of_a_check_at_their_field() {
    let server = harbor().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("may.toml");
    std::fs::write(&file, LIST).unwrap();
    let path = file.to_str().unwrap();
    let words = ["price-list", "check", path, "--site", "1"];
    let days = ["--from", "2031-04-28", "--to", "2031-04-28"];
    let refused = server.client(&[&words[..], &days].concat());
    assert_eq!(refused.status.code(), Some(1));
    assert!(
        said(&refused).contains("must be after from"),
        "{}",
        said(&refused)
    );
    // A scale of 0.01 lb has 20 divisions in 0.20 lb: a lower edge warns.
    let fine = LIST
        .replace(
            "to = \"0.50\", price = \"1.25\"",
            "to = \"0.15\", price = \"1.00\"",
        )
        .replace(
            "  { from = \"0.50\", to",
            "  { from = \"0.15\", to = \"0.50\", price = \"1.25\" },\n  { from = \"0.50\", to",
        );
    std::fs::write(&file, fine).unwrap();
    let warned = said(&server.client(&words));
    assert!(
        warned.contains("is under 20 divisions of 0.01 lb"),
        "{warned}"
    );
}
