//! Scales that are heard as they weigh, stood for by a socket or a pipe that sends
//! invented lines, of no maker's: what is shown, what is believed, and what is booked.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::net::TcpListener;
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use proto::v1;
use serde_json::json;

use crate::harness::{OFFICE, PROGRAM, Server, fresh, harbor_on, message, said};
use crate::pages::{Browser, Page, key};

/// How the lines below are read.
const LINE: &str = "^weight (?<weight>[^ ]+) ?(?<unit>lb|kg|stone)? ?(?<stable>steady)?$";
/// Longest that anything is waited for.
const PATIENCE: Duration = Duration::from_secs(30);

/// A scale on the network: whoever connects is told the same line over and over.
struct Simulator {
    address: String,
    says: Arc<Mutex<String>>,
    /// Counts up to cut who is connected.
    cuts: Arc<Mutex<usize>>,
}

impl Simulator {
    fn start() -> Simulator {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap().to_string();
        let simulator = Simulator {
            address,
            says: Arc::default(),
            cuts: Arc::default(),
        };
        let (says, cuts) = (Arc::clone(&simulator.says), Arc::clone(&simulator.cuts));
        thread::spawn(move || {
            for stream in listener.incoming() {
                let (mut stream, at_first) = (stream.unwrap(), *cuts.lock().unwrap());
                while *cuts.lock().unwrap() == at_first {
                    let line = format!("{}\r\n", says.lock().unwrap());
                    if stream.write_all(line.as_bytes()).is_err() {
                        break;
                    }
                    thread::sleep(Duration::from_millis(20));
                }
            }
        });
        simulator
    }

    fn say(&self, line: &str) {
        line.clone_into(&mut self.says.lock().unwrap());
    }

    fn cut(&self) {
        *self.cuts.lock().unwrap() += 1;
    }
}

/// A server that hears its scale "dock" from somewhere, with a buyer at a tablet.
async fn dock(from: &str) -> (Server, Browser) {
    let named = format!("1/dock={from}");
    let server = harbor_on(Server::with(&["--scale", &named])).await;
    let service = server.service().await;
    service.record_scale(scale(LINE)).await.unwrap();
    let (_, secret) = key(&server, v1::Role::Buyer, "").await;
    let mut tablet = Browser::at(&server);
    tablet.sign_in(&secret);
    (server, tablet)
}

/// The demo's dock scale, with an expression for its lines.
fn scale(line: &str) -> v1::RecordScaleRequest {
    let steps: Vec<serde_json::Value> = serde_json::from_str(OFFICE).unwrap();
    let found = steps.iter().find_map(|step| step["deed"].get("scale"));
    let mut request = found.unwrap().clone();
    assert_eq!(request["scale"]["code"], "dock");
    request["requestId"] = json!(fresh());
    request["scale"]["line"] = json!(line);
    message(request)
}

/// Asks until the scale shows this; empty is nothing.
fn until_it_shows(tablet: &mut Browser, expected: &str) {
    let began = Instant::now();
    loop {
        let page = tablet.get("/scales/dock/reading");
        let shown = match page.status {
            204 => String::new(),
            200 => page.html,
            status => panic!("{status}: {}", page.html),
        };
        if shown == expected {
            return;
        }
        assert!(began.elapsed() < PATIENCE, "still {shown}, not {expected}");
        thread::sleep(Duration::from_millis(50));
    }
}

fn reading(weight: &str, unit: &str, stable: bool) -> String {
    format!(r#"{{"weight":"{weight}","unit":"{unit}","stable":{stable}}}"#)
}

/// Sends the weigh-in of some totes and fish, with marks; gives the page that follows.
fn send(tablet: &mut Browser, step: &str, typed: &[(&str, &str)]) -> Page {
    let form = tablet.get("/weigh-in");
    let (token, request_id) = (form.hidden("token"), form.hidden("request_id"));
    let mut fields = vec![
        ("token", token.as_str()),
        ("request_id", &request_id),
        ("rows", "3"),
        ("do", step),
        ("unit", "lb"),
        ("harvester", "wren-haldane"),
        ("species", "PZO"),
        ("presentation", "1"),
        ("storage", "1"),
        ("scale", "dock"),
        ("decision", "1"),
        ("small", "1"),
        ("confirmation", "1"),
        ("area", "QH-Sill"),
    ];
    fields.extend(typed);
    tablet.post("/weigh-in", &fields)
}

fn booked(tablet: &mut Browser, typed: &[(&str, &str)]) -> String {
    let sent = send(tablet, "book", typed);
    assert_eq!(sent.status, 303, "{}", sent.html);
    tablet.get(sent.header("location")).html
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_scale_said_at_rest_is_booked_as_captured_and_all_else_as_keyed() {
    let simulator = Simulator::start();
    let (server, mut tablet) = dock(&format!("tcp:{}", simulator.address)).await;
    // Before it says anything that is a weight, nothing is shown.
    simulator.say("warming up");
    until_it_shows(&mut tablet, "");
    simulator.say("weight 45.60 lb steady");
    until_it_shows(&mut tablet, &reading("45.60", "lb", true));
    simulator.say("weight 44.90 lb");
    until_it_shows(&mut tablet, &reading("44.90", "lb", false));
    simulator.say("weight 1.15 steady");
    until_it_shows(&mut tablet, &reading("1.15", "lb", true));

    // A page of that site knows of it, and one that was checked keeps its marks.
    let form = tablet.get("/weigh-in");
    assert!(form.html.contains("data-live=\"dock\""), "{}", form.html);
    let common = [
        ("tare_1", "3.60"),
        ("pieces_1", "30"),
        ("grade_1", "A"),
        ("condition_1", "1"),
    ];
    let with = |more: &[(&'static str, &'static str)]| [&common[..], more].concat();
    let marked = with(&[("gross_1", "45.60"), ("captured", "45.60 lb")]);
    let checked = send(&mut tablet, "check", &marked);
    assert_eq!(checked.status, 200);
    let kept = "<input type=\"hidden\" name=\"captured\" value=\"45.60 lb\">";
    assert!(checked.html.contains(kept), "{}", checked.html);

    for (gross, mark, shown) in [
        (
            "45.60",
            "45.60 lb",
            "45.60 lb (dock, captured) - 3.60 lb (dock)",
        ),
        // Nobody took it from the scale.
        ("45.60", "", "45.60 lb (dock) - 3.60 lb (dock)"),
        // Somebody typed over it.
        ("45.65", "45.60 lb", "45.65 lb (dock) - 3.60 lb (dock)"),
        // It had not come to rest, or was never said at all: whatever the mark.
        ("44.90", "44.90 lb", "44.90 lb (dock) - 3.60 lb (dock)"),
        ("50.00", "50.00 lb", "50.00 lb (dock) - 3.60 lb (dock)"),
        ("45.60", "45.60 kg", "45.60 lb (dock) - 3.60 lb (dock)"),
    ] {
        let ticket = booked(
            &mut tablet,
            &with(&[("gross_1", gross), ("captured", mark)]),
        );
        assert!(ticket.contains(shown), "{gross} {mark}: {ticket}");
    }
    // Of two alike only one was marked, and so it is with fish one by one.
    let fish = [
        ("fish", "1.15 1.15 1.20"),
        ("grade_fish", "A"),
        ("condition_fish", "1"),
        ("captured", "1.15 lb"),
    ];
    let ticket = booked(&mut tablet, &fish);
    let shown = "1.15 lb (dock, captured), 1.15 lb (dock), 1.20 lb (dock)";
    assert!(ticket.contains(shown), "{ticket}");

    // What does not fit says nothing, and what was shown is soon too old.
    for odd in [
        "weight 45,60 lb steady",
        "weight -1.00 lb steady",
        "weight 4.00 stone steady",
    ] {
        simulator.say(odd);
        until_it_shows(&mut tablet, "");
    }
    // The office changes how lines are read, and it is so at once.
    let service = server.service().await;
    simulator.say("at rest: 12.30");
    service
        .record_scale(scale("^at rest: (?<weight>.*)$"))
        .await
        .unwrap();
    until_it_shows(&mut tablet, &reading("12.30", "lb", true));
    service.record_scale(scale("")).await.unwrap();
    until_it_shows(&mut tablet, "");
    assert!(!tablet.get("/weigh-in").html.contains("data-live"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_scale_that_was_cut_off_is_heard_again() {
    let simulator = Simulator::start();
    let (_server, mut tablet) = dock(&format!("tcp:{}", simulator.address)).await;
    for weight in ["5.00", "6.00", "7.00"] {
        simulator.say(&format!("weight {weight} lb steady"));
        until_it_shows(&mut tablet, &reading(weight, "lb", true));
        simulator.cut();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_line_is_read_from_a_pipe_and_the_program_still_stops_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("line");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    let (mut server, mut tablet) = dock(&format!("serial:{}", pipe.display())).await;
    // Each who writes goes away, and the next is heard.
    for weight in ["3.60", "4.20"] {
        let mut line = OpenOptions::new().write(true).open(&pipe).unwrap();
        // The tail of a line that began before it was heard is no weight.
        let text = format!("ght 99.99 lb steady\nweight {weight} lb steady\n");
        line.write_all(text.as_bytes()).unwrap();
        drop(line);
        until_it_shows(&mut tablet, &reading(weight, "lb", true));
    }
    let took = server.stop();
    assert!(took < Duration::from_secs(5), "{took:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn only_who_weighs_in_there_sees_what_a_scale_shows() {
    let simulator = Simulator::start();
    let (server, mut tablet) = dock(&format!("tcp:{}", simulator.address)).await;
    simulator.say("weight 45.60 lb steady");
    until_it_shows(&mut tablet, &reading("45.60", "lb", true));
    assert_eq!(tablet.get("/scales/table/reading").status, 204, "not heard");
    assert_eq!(tablet.get("/scales/none/reading").status, 204);
    let shown = tablet.get("/scales/dock/reading");
    assert_eq!(shown.header("cache-control"), "no-store");
    assert_eq!(shown.header("content-type"), "application/json");
    let mut nobody = Browser::at(&server);
    assert_eq!(nobody.get("/scales/dock/reading").status, 303);
    for (role, party) in [
        (v1::Role::Diver, "wren-haldane"),
        (v1::Role::Kitchen, "hill-kitchen"),
        (v1::Role::Auditor, ""),
    ] {
        let (_, secret) = key(&server, role, party).await;
        let mut other = Browser::at(&server);
        other.sign_in(&secret);
        let page = other.get("/scales/dock/reading");
        assert_eq!(page.status, 404, "{role:?}");
        assert!(!page.html.contains("45.60"), "{role:?}");
    }
}

#[test]
fn a_scale_that_is_named_wrongly_keeps_the_service_from_starting() {
    for (named, why) in [
        ("dock=tcp:127.0.0.1:4001", "is not SITE/CODE=tcp:HOST:PORT"),
        ("1/dock=/dev/ttyUSB0", "is not SITE/CODE=tcp:HOST:PORT"),
        ("1/dock=tcp:127.0.0.1", "is not HOST:PORT"),
    ] {
        let output = Command::new(PROGRAM)
            .args(["serve", "--scale", named])
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains(why), "{}", said(&output));
    }
}

#[tokio::test]
async fn an_expression_that_cannot_be_used_is_refused_with_why() {
    let server = harbor_on(Server::start()).await;
    let told = server.client(&[
        "scale",
        "--site",
        "1",
        "--code",
        "dock",
        "--name",
        "Dock",
        "--division",
        "0.05",
        "--capacity",
        "250",
        "--line",
        "net (?<pounds>[0-9.]+)",
    ]);
    assert_eq!(told.status.code(), Some(1), "{}", said(&told));
    assert!(
        said(&told).contains("--line: has a group named pounds"),
        "{}",
        said(&told)
    );
}
