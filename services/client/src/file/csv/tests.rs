//! CSV files as offices write them, and a very long one.

use std::io::{BufReader, Read};

use super::*;
use crate::file::{Failed, Items};

const HEADER: &str = "ticket,site,diver,confirmed,species,form,grade,shot,gross,tare,pieces";
const ROW: &str = "17,1,diver-1,by-diver,PZO,whole,A,clean,45.60,3.60,56";

fn items(text: &[u8]) -> Vec<Result<Item, FileTrouble>> {
    let mut items = Items::of(text).unwrap();
    std::iter::from_fn(|| items.next()).collect()
}

fn requests(text: &[u8]) -> Vec<v1::RecordWeighInRequest> {
    items(text)
        .into_iter()
        .map(|item| match item.unwrap().asked.unwrap() {
            Asked::Ticket(request) => *request,
            Asked::Step(step) => panic!("{step}"),
        })
        .collect()
}

/// The first thing that is wrong with a file.
fn wrong(text: &str) -> String {
    match Items::of(text.as_bytes()) {
        Err(trouble) => trouble.to_string(),
        Ok(mut items) => match items.next().unwrap() {
            Err(trouble) => trouble.to_string(),
            Ok(item) => item.asked.unwrap_err(),
        },
    }
}

fn gross(request: &v1::RecordWeighInRequest) -> String {
    match &request.lots[0].weighings[0].weighed {
        Some(v1::weighing::Weighed::Tote(tote)) => tote.gross.clone().unwrap().decimal,
        other => panic!("{other:?}"),
    }
}

#[test]
fn however_an_office_writes_it_the_ticket_is_the_same() {
    let plain = requests(format!("{HEADER}\n{ROW}\n").as_bytes());
    assert_eq!(plain.len(), 1);
    assert_eq!(gross(&plain[0]), "45.60");
    let semicolons = |text: &str| text.replace(',', ";").replace('.', ",");
    for written in [
        format!("\u{feff}{HEADER}\n{ROW}\n"),
        format!("{HEADER}\r\n\r\n{ROW}\r\n\r\n"),
        format!("{HEADER}\n{ROW}"),
        format!("{}\n{}\n", semicolons(HEADER), semicolons(ROW)),
        format!("{}\n{}\n", HEADER.replace(',', ";"), ROW.replace(',', ";")),
        format!("{HEADER}\n,,,,,,,,,,\n{ROW}\n"),
        format!("{}\n{}\n", HEADER.to_uppercase(), ROW.replace(',', " , ")),
        format!("{HEADER}\n{}\n", ROW.replace("diver-1", "\"diver-1\"")),
    ] {
        assert_eq!(requests(written.as_bytes()), plain, "{written}");
    }
}

#[test]
fn rows_of_one_ticket_are_its_totes_lots_and_fish() {
    let text = "ticket;site;diver;confirmed;species;form;grade;shot;gross;tote;fish;iced\n\
                17;1;diver-1;by-diver;PZO;whole;A;clean;45,60;grey-1;;yes\n\
                17;;;;PZO;whole;A;clean;8,90;grey-1;;\n\
                17;;;;LCX;whole;A;body;;;2,61;\n\
                17;;;;LCX;whole;A;body;;;3,05;\n\
                18;1;diver-2;diver-absent;PZO;gutted-headed;B;clean;9;grey-1;;\n";
    let requests = requests(text.as_bytes());
    let shape: Vec<Vec<usize>> = requests
        .iter()
        .map(|request| request.lots.iter().map(|lot| lot.weighings.len()).collect())
        .collect();
    assert_eq!(shape, [vec![2, 1], vec![1]]);
    match &requests[0].lots[1].weighings[0].weighed {
        Some(v1::weighing::Weighed::Pieces(pieces)) => {
            let read = pieces.pieces.iter().map(|piece| piece.decimal.as_str());
            assert_eq!(read.collect::<Vec<_>>(), ["2.61", "3.05"]);
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(requests[1].confirmation(), v1::Confirmation::DiverAbsent);
    assert_ne!(requests[0].request_id, requests[1].request_id);
}

#[test]
fn a_ticket_sent_again_has_the_same_request_id_unless_one_is_written() {
    let text = format!("{HEADER}\n{ROW}\n");
    assert_eq!(requests(text.as_bytes()), requests(text.as_bytes()));
    let id = "5b1c6a9e-2f70-4c55-9a54-0b8f2a4e6d11";
    let given = format!("{HEADER},request_id\n{ROW},{id}\n");
    assert_eq!(requests(given.as_bytes())[0].request_id, id);
}

#[test]
fn a_mistake_is_said_with_line_and_column() {
    let with = |from: &str, to: &str| format!("{HEADER}\n\n{}\n", ROW.replace(from, to));
    // what is written                               what is told
    for (text, said) in [
        (
            with("45.60", "4x"),
            "line 3, column 9 (gross): \"4x\" is not a decimal number such as 45.60",
        ),
        (
            with("45.60", "-45.60"),
            "line 3, column 9 (gross): \"-45.60\" is not a decimal number such as 45.60",
        ),
        (
            with("45.60", "\"45,60\""),
            "line 3, column 9 (gross): \"45,60\": a decimal comma needs semicolons between the cells",
        ),
        (
            with("45.60", "\"1,045.60\""),
            "line 3, column 9 (gross): \"1,045.60\": leave out what separates thousands",
        ),
        (
            with("3.60", ""),
            "line 3, column 9 (gross): one of tare, tote and tared must go with it",
        ),
        (
            with("56", "many"),
            "line 3, column 11 (pieces): \"many\" is not a whole number",
        ),
        (
            with(",56", ""),
            "line 3, column 11: the row has 10 cells, and there are 11 columns",
        ),
        (
            with("17,1", "17,"),
            "line 3, column 2 (site): must be given",
        ),
        (
            HEADER.replace("gross", "weight"),
            "line 1, column 9: \"weight\" is no column of such a file",
        ),
        (
            HEADER.replace("grade,", ""),
            "line 1, column 11: the column \"grade\" is missing",
        ),
        (
            format!("{HEADER}\n{ROW}\n{}\n", ROW.replace("diver-1", "diver-2")),
            "line 3, column 3 (diver): \"diver-1\" stands in line 2 of this ticket",
        ),
    ] {
        assert_eq!(wrong(&text), said, "{text}");
    }
    assert!(
        wrong(&with("whole", "flat")).starts_with("line 3, column 6 (form): \"flat\" is none of ")
    );
    let mut latin = format!("{HEADER}\n{ROW}\n").into_bytes();
    let at = latin.len() - 5;
    latin[at] = 0xE9;
    let told = items(&latin)[0]
        .as_ref()
        .unwrap()
        .asked
        .as_ref()
        .unwrap_err()
        .clone();
    assert!(told.ends_with("is not UTF-8 text"), "{told}");
}

#[test]
fn a_cell_may_go_over_lines_and_must_end() {
    let header = format!("{HEADER},note");
    let text = format!("{header}\r\n{ROW},\"two\r\nlines\"\r\n{ROW},\"x\r\n");
    let all = items(text.as_bytes());
    let last = all.last().unwrap().as_ref().unwrap_err().to_string();
    assert_eq!(
        last,
        "line 4, column 1: the row that begins here does not end"
    );
}

#[test]
fn a_mark_within_a_cell_is_a_letter_and_hides_no_row() {
    let header = format!("{HEADER},note");
    let row = |ticket: u8, note: &str| format!("{ticket}{},{note}\n", &ROW[2..]);
    let text = format!(
        "{header}\n{}{}{}",
        row(17, "the 5\" one"),
        row(18, "the 6\" one"),
        row(19, "\"says \"\"so\"\", twice\"")
    );
    let notes: Vec<String> = requests(text.as_bytes())
        .into_iter()
        .map(|request| request.note)
        .collect();
    assert_eq!(notes, ["the 5\" one", "the 6\" one", "says \"so\", twice"]);
}

#[test]
fn a_file_in_another_encoding_is_told_apart_from_a_wrong_column() {
    let wide: Vec<u8> = format!("\u{feff}{HEADER}\n")
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let told = Items::of(&*wide).err().unwrap().to_string();
    assert_eq!(
        told,
        "line 1, column 1: is not UTF-8 text: save it again as CSV in UTF-8"
    );
    let nul = format!("{HEADER}\n{}\n", ROW.replace("diver-1", "di\0ver"));
    assert_eq!(wrong(&nul), "line 2, column 3: is not UTF-8 text");
}

#[test]
fn when_it_was_weighed_is_read_with_its_offset() {
    let with = |at: &str| format!("{HEADER},weighed_at\n{ROW},{at}\n");
    let read = requests(with("2031-05-02T14:32:10-04:00").as_bytes());
    assert_eq!(
        read[0].first_reading_at.map(|at| at.seconds),
        Some(1_935_513_130)
    );
    assert_eq!(requests(with("").as_bytes())[0].first_reading_at, None);
    assert!(
        wrong(&with("2031-05-02 14:32")).starts_with("line 2, column 12 (weighed_at): an instant"),
        "{}",
        wrong(&with("2031-05-02 14:32"))
    );
}

#[test]
fn a_bad_ticket_does_not_hide_the_next() {
    let text = format!("{HEADER}\n{}\n18{}\n", ROW.replace("45.60", "x"), &ROW[2..]);
    let all = items(text.as_bytes());
    let good: Vec<bool> = all
        .iter()
        .map(|item| item.as_ref().unwrap().asked.is_ok())
        .collect();
    assert_eq!(good, [false, true]);
}

#[test]
fn what_failed_reads_again_with_the_reason_beside_it() {
    let text = format!("{HEADER}\n{ROW}\n");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("failed.csv");
    let mut read = Items::of(text.as_bytes()).unwrap();
    let mut failed: Failed = read.failed(&path).unwrap();
    let item = read.next().unwrap().unwrap();
    failed
        .put(&item.written, "nobody is called that, so \"no\"")
        .unwrap();
    failed.done().unwrap();
    let written = std::fs::read_to_string(&path).unwrap();
    assert!(written.contains("nobody is called that"), "{written}");
    assert_eq!(requests(written.as_bytes()), requests(text.as_bytes()));
}

/// A million rows that are nowhere: each is made as it is read.
struct Rows {
    next: u64,
    rest: Vec<u8>,
}

impl Read for Rows {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        while self.rest.len() < into.len() && self.next <= 1_000_000 {
            let line = match self.next {
                0 => format!("{HEADER}\n"),
                n => format!("{n}{}\n", &ROW[2..]),
            };
            self.rest.extend(line.bytes());
            self.next += 1;
        }
        let n = into.len().min(self.rest.len());
        into[..n].copy_from_slice(&self.rest[..n]);
        self.rest.drain(..n);
        Ok(n)
    }
}

/// Kilobytes of this process in memory, as Linux says.
fn in_memory_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmRSS:"))
        .unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[cfg(target_os = "linux")]
#[test]
fn a_million_rows_take_no_more_memory_than_a_few() {
    let rows = Rows {
        next: 0,
        rest: Vec::new(),
    };
    let mut items = Items::of(BufReader::new(rows)).unwrap();
    let (mut n, mut first, mut most) = (0_u64, 0, 0);
    while let Some(item) = items.next() {
        assert!(item.unwrap().asked.is_ok());
        n += 1;
        if n == 1_000 {
            first = in_memory_kb();
        }
        if n.is_multiple_of(50_000) {
            most = most.max(in_memory_kb());
        }
    }
    assert_eq!(n, 1_000_000);
    // The file is 60 MB; other tests may run beside this one in the same process.
    assert!(most < first + 30_000, "{first} kB, later {most} kB");
}
