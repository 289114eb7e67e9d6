//! Whatever stands in a file, or is typed: it reads or is refused, and what is
//! accepted reads back equal.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;
use proptest::sample::Index;
use proto::v1;

use crate::file::{Asked, Failed, Items, Written};
use crate::price_list::file;
use crate::{day, instant, json};

/// Rows as an office writes them, one of them wrong.
const CSV: &str = "\
ticket,site,diver,confirmed,species,form,grade,shot,gross,tare,pieces
17,1,diver-1,by-diver,PZO,whole,A,clean,45.60,3.60,56
17,1,diver-1,by-diver,PZO,whole,B,torn,12.35,3.60,20
18,1,diver-2,absent,LCX,\"whole\",A,clean,8.9O,,
";
const JSON: &str = "[{\"label\": \"a\", \"deed\": {\"charge\": {\"site\": 1, \"amount\": \
                    {\"amountMinor\": \"12\"}}}},\n {\"label\": \"b}]\", \"deed\": {}}]\n";
const PRICES: &str = "\
site,species,effective_from,band_by,price_per,edge_unit,form,plate_minimum,grade,from,to,price,name
1,PZO,2031-05-03T06:00:00-04:00,piece,lb,lb,whole,0.50,A,0,0.50,1.25,below plate
,,,,,,,,,0.50,,5.25,plate
,,,,,,,,,not counted,,1.00,
,,,,,,,,,torn,,-2.00,
";

/// Pieces that readers of files stumble over.
fn piece() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        prop::sample::select(vec![
            "\"",
            "\"\"",
            ",",
            ";",
            "\n",
            "\r\n",
            "\r",
            "\t",
            "[",
            "]",
            "{",
            "}",
            ":",
            "\\",
            "\0",
            "\u{feff}",
            "'",
            "=",
            "[[presentation]]",
            "0",
            "-",
            "1e309",
            "\u{1f41f}",
            "{{lot:a/1}}",
            "site",
            "ticket",
        ])
        .prop_map(|text| text.as_bytes().to_vec()),
        prop::collection::vec(any::<u8>(), 0..6),
    ]
}

/// A text with pieces put in and others cut out.
fn worse(text: &'static str) -> impl Strategy<Value = Vec<u8>> {
    let edit = (any::<Index>(), 0_usize..12, piece());
    prop::collection::vec(edit, 0..5).prop_map(move |edits| {
        let mut bytes = text.as_bytes().to_vec();
        for (at, cut, piece) in edits {
            let from = at.index(bytes.len() + 1);
            let to = (from + cut).min(bytes.len());
            bytes.splice(from..to, piece);
        }
        bytes
    })
}

fn file_of_deeds() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        worse(CSV),
        worse(JSON),
        prop::collection::vec(any::<u8>(), 0..200),
    ]
}

/// What a file asks for, up to where it can no longer be read.
fn asked(bytes: &[u8]) -> Vec<Result<Asked, String>> {
    let Ok(mut items) = Items::of(bytes) else {
        return Vec::new();
    };
    let items = std::iter::from_fn(|| items.next());
    items.map_while(Result::ok).map(|item| item.asked).collect()
}

fn same(a: &Asked, b: &Asked) -> bool {
    match (a, b) {
        (Asked::Step(a), Asked::Step(b)) => a == b,
        (Asked::Ticket(a), Asked::Ticket(b)) => {
            // The id is made up where the file gives none.
            let without = |ticket: &v1::RecordWeighInRequest| v1::RecordWeighInRequest {
                request_id: String::new(),
                ..ticket.clone()
            };
            without(a) == without(b)
        }
        _ => false,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// A file of failed items asks for what they asked for.
    #[test]
    fn a_file_of_deeds_reads_or_says_where_it_does_not(bytes in file_of_deeds()) {
        let first = asked(&bytes);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("failed");
        let Ok(mut items) = Items::of(&*bytes) else {
            return Ok(());
        };
        let mut failed: Failed = items.failed(&path).unwrap();
        let mut read = Vec::new();
        while let Some(Ok(item)) = items.next() {
            if let (Ok(Asked::Ticket(_)), Written::Rows(_)) = (&item.asked, &item.written) {
                failed.put(&item.written, "why it failed").unwrap();
                read.push(item.asked.unwrap());
            }
        }
        failed.done().unwrap();
        prop_assert!(first.len() >= read.len());
        let again = asked(&std::fs::read(&path).unwrap());
        let again: Vec<Asked> = again.into_iter().filter_map(Result::ok).collect();
        prop_assert_eq!(again.len(), read.len(), "{}", String::from_utf8_lossy(&bytes));
        for (one, other) in read.iter().zip(&again) {
            prop_assert!(same(one, other), "{:?} and {:?}", one, other);
        }
    }

    #[test]
    fn a_price_list_reads_or_says_on_which_line_it_does_not(bytes in worse(PRICES)) {
        let text = String::from_utf8_lossy(&bytes);
        let lines = text.split(['\n', '\r']).count();
        for name in ["list.csv", "list.toml"] {
            if let Err(bad) = file::Written::read(name, &text) {
                prop_assert!((1..=lines + 1).contains(&bad.line), "{bad}");
            }
        }
    }

    /// The same bands in either format are the same list, with edges and prices as
    /// they were typed.
    #[test]
    fn a_price_list_says_the_same_in_both_formats(
        steps in prop::collection::vec((1_u32..500, 0_u32..100_000), 1..8),
    ) {
        let (mut edge, mut csv, mut toml) = (0, String::new(), String::new());
        let hundredths = |n: u32| format!("{}.{:02}", n / 100, n % 100);
        let mut typed = Vec::new();
        for (n, (width, price)) in steps.iter().enumerate() {
            let (from, to) = (hundredths(edge), hundredths(edge + width));
            let last = n + 1 == steps.len();
            let (price, to) = (hundredths(*price), if last { String::new() } else { to });
            let lead = if n == 0 {
                format!("1,PZO,2031-05-03T06:00:00-04:00,piece,lb,lb,whole,{},A", hundredths(*width))
            } else {
                ",,,,,,,,".to_owned()
            };
            csv += &format!("{lead},{from},{to},{price},band {n}\n");
            let end = if last { String::new() } else { format!("to = \"{to}\"\n") };
            toml += &format!(
                "[[presentation.grade.bands]]\nfrom = \"{from}\"\n{end}price = \"{price}\"\nname = \"band {n}\"\n"
            );
            typed.push((from, to, price));
            edge += width;
        }
        let header = PRICES.lines().next().unwrap();
        let head = format!(
            "site = 1\nspecies = \"PZO\"\neffective_from = 2031-05-03T06:00:00-04:00\n\
             band_by = \"piece\"\nprice_per = \"lb\"\nedge_unit = \"lb\"\n[[presentation]]\n\
             form = \"whole\"\nplate_minimum = \"{}\"\n[[presentation.grade]]\ngrade = \"A\"\n",
            hundredths(steps[0].0)
        );
        let rows = file::Written::read("a.csv", &format!("{header}\n{csv}")).unwrap().list;
        let tables = file::Written::read("a.toml", &format!("{head}{toml}")).unwrap().list;
        prop_assert_eq!(&rows, &tables);
        let read: Vec<_> = rows.presentations[0].grades[0].bands.iter()
            .map(|band| (band.from.clone(), band.to.clone().unwrap_or_default(), band.price.clone()))
            .collect();
        prop_assert_eq!(read, typed);
    }

    #[test]
    fn days_and_instants_read_back(
        text in prop_oneof![
            "[0-9]{4}-[0-9]{2}-[0-9]{2}",
            "20[0-9]{2}-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-5][0-9]:[0-6][0-9](\\.[0-9]{1,9})?(Z|[+-][01][0-9]:[0-5][0-9])",
            any::<String>(),
        ],
    ) {
        if let Ok(read) = day(&text) {
            prop_assert_eq!(format!("{:04}-{:02}-{:02}", read.year, read.month, read.day), text.as_str());
        }
        if let Ok(read) = instant(&text) {
            prop_assert_eq!(instant(&read.to_string()), Ok(read), "{}", text);
        }
    }

    /// A deed as canonical JSON, and whatever is done to its text.
    #[test]
    fn a_deed_that_reads_is_written_and_read_as_the_same(bytes in worse(JSON)) {
        for item in asked(&bytes) {
            let Ok(Asked::Step(step)) = item else { continue };
            if let Ok(deed) = json::read::<v1::Deed>(&step["deed"]) {
                prop_assert_eq!(json::read::<v1::Deed>(&json::write(&deed)), Ok(deed));
            }
        }
    }
}
