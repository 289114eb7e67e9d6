//! The demo's week, read in Spanish by everybody who has a page: whatever the tool says is
//! in Spanish. What it wrote down is English in its documents.

use std::collections::BTreeSet;

use super::*;

/// Where a page says something in English, with what it says; the choice of the language
/// itself is left out.
fn english(page: &Page) -> Vec<String> {
    let mut parts = page.html.split("lang=\"en\"");
    let mut before = parts.next().unwrap_or_default();
    let mut found = Vec::new();
    for after in parts {
        let element = before.rsplit('<').next().unwrap_or_default();
        if !element.starts_with("a href=\"/language/en") {
            found.push(after.chars().take(200).collect());
        }
        before = after;
    }
    found
}

/// Opens pages in Spanish; what each says in English.
fn read(browser: &mut Browser, paths: &[String], in_english: &mut BTreeSet<String>) -> String {
    let mut all = String::new();
    for path in paths {
        let page = browser.get(path);
        assert_eq!(page.status, 200, "{path}: {}", page.html);
        assert!(page.html.contains("<html lang=\"es\">"), "{path}");
        let found = english(&page).into_iter();
        in_english.extend(found.map(|text| format!("{path}: {text}")));
        all.push_str(&page.html);
    }
    all
}

/// Paths below `start` that a page leads to.
fn links(page: &str, start: &str) -> Vec<String> {
    let found = page.split("href=\"").skip(1);
    let found = found.filter_map(|rest| rest.split('"').next());
    let found: BTreeSet<&str> = found.filter(|path| path.starts_with(start)).collect();
    found.into_iter().map(str::to_owned).collect()
}

#[tokio::test]
async fn the_demos_week_is_read_in_spanish_and_nothing_of_it_is_left_in_english() {
    let server = Server::start();
    send_week(&server, Way::CatchUp).await;
    let days = "from=2031-04-28&to=2031-05-06";
    let mut in_english = BTreeSet::new();
    let mut all = String::new();

    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut office = Browser::at(&server);
    office.cookies.insert("language".into(), "es".into());
    office.sign_in(&secret);
    let mut paths: Vec<String> = ["/", "/flags", "/days", "/plan", "/prices", "/parties"]
        .map(str::to_owned)
        .into();
    paths.extend([format!("/tickets?{days}"), format!("/yields?{days}")]);
    let page = read(&mut office, &paths, &mut in_english);
    let tickets = links(&page, "/tickets/2");
    let closes = links(&page, "/days/2");
    assert!(tickets.len() > 15, "{tickets:?}");
    assert!(closes.len() >= 7, "{closes:?}");
    all.push_str(&page);
    all.push_str(&read(&mut office, &closes, &mut in_english));
    let page = read(&mut office, &tickets, &mut in_english);
    let lots = page.split("class=\"code\">").skip(1);
    let lots = lots.filter_map(|rest| rest.split('<').next());
    let lots: BTreeSet<String> = lots
        .filter(|code| code.len() == 20)
        .map(|code| format!("/lots/{code}"))
        .collect();
    assert!(lots.len() > 20, "{lots:?}");
    all.push_str(&page);
    let lots: Vec<String> = lots.into_iter().collect();
    all.push_str(&read(&mut office, &lots, &mut in_english));
    let divers = ["wren-haldane", "jonas-brandeth"];
    let statements = divers.map(|party| format!("/statement?party={party}&{days}"));
    all.push_str(&read(&mut office, &statements, &mut in_english));

    for (role, party) in [
        (v1::Role::Diver, "wren-haldane"),
        (v1::Role::Kitchen, "varnley-kitchen"),
    ] {
        let (_, secret) = key(&server, role, party).await;
        let mut phone = Browser::at(&server);
        phone.cookies.insert("language".into(), "es".into());
        phone.sign_in(&secret);
        all.push_str(&read(
            &mut phone,
            &[format!("/yields?{days}")],
            &mut in_english,
        ));
    }

    assert!(in_english.is_empty(), "{in_english:#?}");
    let flags = all.matches("<article class=\"flag\"").count();
    assert!(flags > 12, "{flags} flags are no week");
    for said in [
        "según el libro",
        "Las básculas, el agua y el escurrimiento explican +/- ",
        "Sumas simples",
        "muy poco para decir algo: ",
        "Negro es la existencia, claro lo que entró, gris lo que salió.",
        "todo junto: +/- ",
        "las espinas siguen siendo venenosas",
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 3400",
    ] {
        assert!(all.contains(said), "nobody says: {said}");
    }
    // The close itself stays as it was written down.
    let told = server.client(&["close", "--site", "1", "--day", "2031-05-02", "--json"]);
    let told = String::from_utf8_lossy(&told.stdout).into_owned();
    assert!(
        told.contains("Scales, water and drip explain"),
        "the document is English: {told}"
    );
}

#[test]
fn what_a_page_says_in_english_is_found_but_for_the_choice_of_it() {
    let page = Page {
        status: 200,
        headers: Vec::new(),
        html: "<p lang=\"en\">Odd.</p><a href=\"/language/en?to=%2F\" lang=\"en\">English</a>\
               <li lang=\"en\">Odder.</li>"
            .to_owned(),
    };
    let found = english(&page);
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found[0].starts_with(">Odd.<") && found[1].starts_with(">Odder.<"));
}
