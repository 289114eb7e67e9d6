//! Every entry of the table, as a person would type it.

use std::collections::BTreeSet;

use super::*;

/// Words as a shell would split them.
pub(crate) fn words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            other => words.last_mut().unwrap().push(other),
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn typed(line: &str) -> Result<Deed, clap::Error> {
    let command = Deed::augment_subcommands(clap::Command::new("weighhouse"));
    let words = [vec!["weighhouse".to_owned()], words(line)].concat();
    let matches = crate::lenient(command).try_get_matches_from(words)?;
    Deed::from_arg_matches(&matches)
}

fn request(line: &str) -> Result<Value, String> {
    let deed = typed(line).map_err(|error| error.to_string())?;
    let (_, mut request) = deed.request(None).map_err(|trouble| trouble.to_string())?;
    request.as_object_mut().unwrap().remove("requestId");
    Ok(request)
}

#[test]
fn every_example_becomes_a_deed_of_the_contract() {
    for entry in ENTRIES
        .iter()
        .filter(|entry| !entry.example.contains("--file"))
    {
        let deed = typed(entry.example).unwrap();
        let (_, request) = deed.request(None).unwrap();
        let read = json::read::<v1::Deed>(&json!({ entry.deed: request }));
        assert!(read.is_ok(), "{}: {}", entry.name, read.unwrap_err());
    }
}

#[test]
fn every_flag_leads_to_a_field_of_its_deed() {
    for entry in ENTRIES {
        for flag in entry.flags {
            let mut request = json!({});
            let sample = match flag.takes {
                Takes::Text => "x",
                Takes::YesOrNo => "yes",
                Takes::Number => "1",
                Takes::Word(of) => &json::words(of)[0],
                Takes::Day => "2031-05-02",
                Takes::Instant => "2031-05-02T14:32:00-04:00",
                Takes::Weight => "1.00",
                Takes::Part => "20310502000100000031/1",
                Takes::Taken | Takes::Input | Takes::Counted => "20310502000100000031/1:1.00",
                Takes::Dispatch => "2031050200010000008:1.00",
                Takes::Output => "whole:1.00:slush",
                Takes::ThrownOut => "frames:1.00:frames",
                Takes::NotWeighed => "trim",
                Takes::Degrees => "38.5F",
                Takes::Price => "9.50USD/lb",
            };
            let reading = Reading {
                unit: "KG".to_owned(),
                scale: "dock".to_owned(),
            };
            let value = flag.takes.read(sample, &reading).unwrap();
            put(
                &mut request,
                flag.path,
                value,
                flag.takes.is_row() || flag.many,
            );
            let read = json::read::<v1::Deed>(&json!({ entry.deed: request }));
            assert!(read.is_ok(), "{} --{}: {read:?}", entry.name, flag.long);
        }
    }
}

#[test]
fn rows_of_a_list_stand_in_the_order_they_were_typed() {
    let line = "move --site 1 --outlet soup --to soup-pot --take 20310502000100000031/1:4.00 \
                --take 20310502000100000032:2.50:emptied --unit kg --read-on dock";
    let weight =
        |decimal: &str| json!({"decimal": decimal, "unit": "WEIGHT_UNIT_KG", "scale": "dock"});
    assert_eq!(
        request(line).unwrap(),
        json!({
            "site": 1,
            "outlet": "OUTLET_SOUP",
            "counterparty": "soup-pot",
            "taken": [
                {"part": {"lotCode": "20310502000100000031", "part": 1}, "weight": weight("4.00")},
                {"part": {"lotCode": "20310502000100000032"}, "weight": weight("2.50"),
                 "emptied": true}
            ]
        })
    );
}

#[test]
fn what_cannot_be_read_names_its_flag() {
    let move_to = "move --site 1 --outlet soup --take";
    for (line, why) in [
        (
            format!("{move_to} 20310502000100000031/1"),
            "a weight must stand there",
        ),
        (
            format!("{move_to} 20310502000100000031/x:4.00"),
            "\"x\" is not the number of a part",
        ),
        (
            format!("{move_to} 20310502000100000031/1:4.00:gone"),
            "--take",
        ),
        (
            "count --site 1 --closes 2031-02-30 --found 20310502000100000031/1:4.00".to_owned(),
            "--closes 2031-02-30",
        ),
        ("void --ticket 2031050200010000003".to_owned(), "--reason"),
        (
            "move --site one --outlet soup --take 20310502000100000031/1:4.00".to_owned(),
            "--site one",
        ),
    ] {
        let told = request(&line).unwrap_err();
        assert!(told.contains(why), "{line}: {told}");
    }
}

#[test]
fn names_are_each_there_once() {
    let names: BTreeSet<&str> = ENTRIES.iter().map(|entry| entry.name).collect();
    assert_eq!(names.len(), ENTRIES.len());
}

#[test]
fn a_file_goes_below_what_is_typed() {
    let deed = typed("settings --file settings.json --site 2").unwrap();
    let file = json!({"site": 1, "icePercent": "3"});
    let (_, request) = deed.request(Some(file)).unwrap();
    assert_eq!(request["settings"], json!({"site": 2, "icePercent": "3"}));
}

/// Deeds whose command is a file of its own, because it does more than send: it looks
/// first, asks for the site's money, or prints a paper.
const OF_THEIR_OWN: &[(&str, &str)] = &[
    ("weighIn", "weigh-in"),
    ("priceList", "price-list"),
    ("acknowledgeFlag", "see-to"),
    ("settle", "settle"),
    ("advance", "advance"),
    ("charge", "charge"),
    ("drawerCount", "drawer"),
    ("dispute", "dispute"),
    ("answerDispute", "answer-dispute"),
    ("plan", "plan"),
];

#[test]
fn every_deed_of_the_contract_has_a_command() {
    let pool = prost_reflect::DescriptorPool::decode(proto::DESCRIPTORS).unwrap();
    let deed = pool.get_message_by_name("weighhouse.v1.Deed").unwrap();
    let deeds: BTreeSet<String> = deed
        .oneofs()
        .flat_map(|oneof| oneof.fields().collect::<Vec<_>>())
        .map(|field| field.json_name().to_owned())
        .collect();
    let own = OF_THEIR_OWN.iter().map(|(deed, _)| (*deed).to_owned());
    let here = ENTRIES.iter().map(|entry| entry.deed.to_owned());
    assert_eq!(own.chain(here).collect::<BTreeSet<_>>(), deeds);
    let commands = crate::Command::augment_subcommands(clap::Command::new("weighhouse"));
    for (deed, command) in OF_THEIR_OWN {
        assert!(commands.find_subcommand(command).is_some(), "{deed}");
    }
}
