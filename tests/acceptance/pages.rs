//! Pages through the front door, by a browser of our own that knows HTTP/1.1 and
//! cookies: who gets in and how, what is theirs, what a form needs, and that the
//! contract beside them is as it was.

mod kept;
mod kitchen;
mod office;
mod received;
mod spanish;

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::Arc;

use client::week::Way;
use proto::v1;
use proto::v1::key_service_client::KeyServiceClient;
use tonic::Code;

use crate::harness::{Server, fresh, harbor, one_tote, said, set_clock};
use crate::week::send_week;

/// A page as it came.
#[derive(Debug)]
pub(crate) struct Page {
    pub(crate) status: u16,
    headers: Vec<(String, String)>,
    pub(crate) html: String,
}

impl Page {
    pub(crate) fn header(&self, name: &str) -> &str {
        let found = self.headers.iter().find(|(key, _)| key == name);
        found.map_or("", |(_, value)| value)
    }

    /// The value of a hidden field.
    pub(crate) fn hidden(&self, name: &str) -> String {
        let mark = format!("name=\"{name}\" value=\"");
        let rest = self.html.split_once(&mark).expect("a hidden field").1;
        rest.split('"').next().unwrap().to_owned()
    }
}

/// Something that keeps cookies, as a browser does.
pub(crate) struct Browser {
    address: String,
    /// Trusted where TLS is spoken.
    tls: Option<Arc<rustls::ClientConfig>>,
    cookies: BTreeMap<String, String>,
    /// Headers that it adds to a form; a real one says where it is from.
    says: Vec<(&'static str, &'static str)>,
}

trait Link: Read + Write {}
impl<T: Read + Write> Link for T {}

impl Browser {
    pub(crate) fn at(server: &Server) -> Browser {
        Browser {
            address: server.address().to_owned(),
            tls: None,
            cookies: BTreeMap::new(),
            says: vec![("Sec-Fetch-Site", "same-origin")],
        }
    }

    pub(crate) fn get(&mut self, path: &str) -> Page {
        self.ask("GET", path, "")
    }

    pub(crate) fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Page {
        let escaped = |text: &str| {
            let bytes = text.bytes();
            bytes.map(|b| format!("%{b:02x}")).collect::<String>()
        };
        let fields: Vec<_> = fields
            .iter()
            .map(|(name, value)| format!("{name}={}", escaped(value)))
            .collect();
        self.ask("POST", path, &fields.join("&"))
    }

    fn link(&self) -> Box<dyn Link> {
        let socket = TcpStream::connect(&self.address).unwrap();
        match &self.tls {
            None => Box::new(socket),
            Some(config) => {
                let name = "127.0.0.1".try_into().unwrap();
                let client = rustls::ClientConnection::new(Arc::clone(config), name).unwrap();
                Box::new(rustls::StreamOwned::new(client, socket))
            }
        }
    }

    fn ask(&mut self, method: &str, path: &str, body: &str) -> Page {
        let mut request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n",
            self.address
        );
        let cookies: Vec<_> = self
            .cookies
            .iter()
            .map(|(k, v)| format!("{k}={v}"))
            .collect();
        if !cookies.is_empty() {
            request += &format!("Cookie: {}\r\n", cookies.join("; "));
        }
        if method == "POST" {
            request += "Content-Type: application/x-www-form-urlencoded\r\n";
            request += &format!("Content-Length: {}\r\n", body.len());
            for (name, value) in &self.says {
                request += &format!("{name}: {value}\r\n");
            }
        }
        let mut link = self.link();
        link.write_all(format!("{request}\r\n{body}").as_bytes())
            .unwrap();
        let mut bytes = Vec::new();
        // A peer that closes TLS without a word has said all it had to.
        let _ends = link.read_to_end(&mut bytes);
        self.read(&String::from_utf8(bytes).unwrap())
    }

    fn read(&mut self, text: &str) -> Page {
        let (head, body) = text.split_once("\r\n\r\n").expect("a whole answer");
        let mut lines = head.lines();
        let status = lines.next().unwrap().split(' ').nth(1).unwrap();
        let headers: Vec<_> = lines
            .map(|line| line.split_once(": ").unwrap())
            .map(|(name, value)| (name.to_ascii_lowercase(), value.to_owned()))
            .collect();
        for (_, line) in headers.iter().filter(|(name, _)| name == "set-cookie") {
            let (name, value) = line.split(';').next().unwrap().split_once('=').unwrap();
            self.cookies.insert(name.to_owned(), value.to_owned());
        }
        Page {
            status: status.parse().unwrap(),
            html: body.to_owned(),
            headers,
        }
    }

    /// Signs in with a key, and fails where that fails.
    pub(crate) fn sign_in(&mut self, key: &str) {
        let answer = self.post("/sign-in", &[("key", key)]);
        assert_eq!((answer.status, answer.header("location")), (303, "/"));
    }
}

/// Id and secret of a new key.
pub(crate) async fn key(server: &Server, role: v1::Role, party: &str) -> (String, String) {
    let mut keys = KeyServiceClient::new(server.channel().await);
    let request = v1::IssueKeyRequest {
        request_id: fresh(),
        name: "phone".to_owned(),
        role: role.into(),
        party: party.to_owned(),
        ..Default::default()
    };
    let answer = keys.issue_key(request).await.unwrap().into_inner();
    (answer.key.unwrap().id, answer.secret)
}

async fn weigh_in(server: &Server, harvester: &str) -> String {
    let request = v1::RecordWeighInRequest {
        harvester: harvester.to_owned(),
        ..one_tote("45.60", "3.60", 30)
    };
    let answer = server.service().await.record_weigh_in(request).await;
    answer.unwrap().ticket.unwrap().id
}

#[tokio::test]
async fn a_diver_signs_in_with_a_key_sees_their_tickets_and_signs_out() {
    let server = harbor().await;
    let own = weigh_in(&server, "wren-haldane").await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    let turned = phone.get("/tickets");
    assert_eq!(
        (turned.status, turned.header("location")),
        (303, "/sign-in")
    );

    phone.sign_in(&secret);
    let session = phone.cookies["weighhouse"].clone();
    assert_eq!(session.len(), 64, "256 bits");
    let tickets = phone.get("/tickets");
    assert_eq!(tickets.status, 200, "{}", tickets.html);
    assert!(tickets.html.contains(&format!("href=\"/tickets/{own}\"")));
    let ticket = phone.get(&format!("/tickets/{own}"));
    // 45.60 - 3.60 = 42.00 lb of 30 fish, 1.40 lb each: 7.00 a pound on the demo's list.
    for shown in [
        "42.00 lb",
        "45.60 lb (dock) - 3.60 lb (dock)",
        "7.00 USD/lb",
        "294.00 USD",
    ] {
        assert!(ticket.html.contains(shown), "{shown}: {}", ticket.html);
    }
    let statement = phone.get("/statement");
    assert!(statement.html.contains("294.00 USD"), "{}", statement.html);

    let token = tickets.hidden("token");
    let out = phone.post("/sign-out", &[("token", &token)]);
    assert_eq!((out.status, out.header("location")), (303, "/sign-in"));
    assert_eq!(phone.cookies["weighhouse"], "", "the browser forgets it");
    // Whoever kept the cookie gets nowhere with it.
    phone.cookies.insert("weighhouse".to_owned(), session);
    assert_eq!(phone.get("/tickets").status, 303);
}

#[tokio::test]
async fn anothers_ticket_is_told_like_none() {
    let server = harbor().await;
    let others = weigh_in(&server, "jonas-brandeth").await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let theirs = phone.get(&format!("/tickets/{others}"));
    let nobodys = phone.get("/tickets/2031042800010009999");
    let no_id = phone.get("/tickets/none");
    let alike = |page: &Page, id: &str| page.html.replace(id, "ID");
    assert_eq!(theirs.status, 404);
    assert_eq!(
        alike(&theirs, &others),
        alike(&nobodys, "2031042800010009999")
    );
    assert_eq!((nobodys.status, no_id.status), (404, 404));
    assert!(!phone.get("/tickets").html.contains(&others));
    assert_eq!(phone.get("/nowhere").status, 404);
    // Nor is it disputed, whatever the form says.
    let token = theirs.hidden("token");
    let fields = [
        ("token", token.as_str()),
        ("request_id", "a1"),
        ("line", "1"),
        ("text", "mine"),
    ];
    let refused = phone.post(&format!("/tickets/{others}/dispute"), &fields);
    assert_eq!(refused.status, 404);
}

#[tokio::test]
async fn a_line_is_disputed_once_however_often_the_form_is_sent() {
    let server = harbor().await;
    let own = weigh_in(&server, "wren-haldane").await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let at = format!("/tickets/{own}");
    let page = phone.get(&at);
    let (token, request_id) = (page.hidden("token"), page.hidden("request_id"));
    let fields = [
        ("token", token.as_str()),
        ("request_id", &request_id),
        ("line", "1"),
        ("text", "I counted <31> & more"),
    ];
    for _ in 0..2 {
        let sent = phone.post(&format!("{at}/dispute"), &fields);
        assert_eq!(sent.status, 303, "{}", sent.html);
    }
    let page = phone.get(&at);
    let times = page
        .html
        .matches("I counted &#60;31&#62; &#38; more")
        .count();
    assert_eq!(times, 1, "{}", page.html);
    // Without words it is not sent, and says why.
    let empty = [
        fields[0],
        ("request_id", "another"),
        fields[2],
        ("text", " "),
    ];
    let refused = phone.post(&format!("{at}/dispute"), &empty);
    assert_eq!(refused.status, 422);
    assert!(refused.html.contains("is needed"), "{}", refused.html);
}

#[tokio::test]
async fn a_form_from_elsewhere_or_without_its_token_is_refused_in_words() {
    let server = harbor().await;
    let own = weigh_in(&server, "wren-haldane").await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let page = phone.get(&format!("/tickets/{own}"));
    let token = page.hidden("token");
    let at = format!("/tickets/{own}/dispute");
    let words = "did not come from a page of this house";

    let mut refused = vec![phone.post(&at, &[("request_id", "a"), ("text", "no token")])];
    refused.push(phone.post(&at, &[("token", &"0".repeat(64)), ("text", "a guess")]));
    refused.push(phone.post("/sign-out", &[]));
    for says in [
        vec![("Sec-Fetch-Site", "cross-site")],
        vec![("Origin", "http://elsewhere.example")],
        vec![("Origin", "null")],
        vec![],
    ] {
        phone.says = says;
        refused.push(phone.post(&at, &[("token", &token), ("text", "from elsewhere")]));
        let mut nobody = Browser::at(&server);
        nobody.says.clone_from(&phone.says);
        refused.push(nobody.post("/sign-in", &[("key", &secret)]));
        assert!(nobody.cookies.is_empty(), "nobody is signed in by that");
    }
    for page in &refused {
        assert_eq!(page.status, 403, "{page:?}");
        assert!(page.html.contains(words), "{}", page.html);
    }
    let page = phone.get(&format!("/tickets/{own}"));
    assert_eq!(page.status, 200, "still signed in");
    assert!(!page.html.contains("no token") && !page.html.contains("from elsewhere"));
}

#[tokio::test]
async fn a_key_that_is_revoked_ends_its_sessions_and_a_wrong_one_opens_none() {
    let server = harbor().await;
    let (id, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    for wrong in [
        "",
        "whkey_12",
        &format!("{}0", &secret[..69]),
        &secret[..69],
    ] {
        // One digit in sixteen is the right one.
        if wrong == secret {
            continue;
        }
        let refused = phone.post("/sign-in", &[("key", wrong)]);
        assert_eq!(refused.status, 401, "{wrong}");
        assert!(refused.html.contains("opens nothing"), "{}", refused.html);
        assert!(
            !refused.html.contains("whkey_1"),
            "what was typed is not shown"
        );
    }
    assert!(phone.cookies.is_empty());
    phone.sign_in(&secret);
    // A key in an address is no key.
    let mut other = Browser::at(&server);
    assert_eq!(other.get(&format!("/tickets?key={secret}")).status, 303);

    assert_eq!(phone.get("/tickets").status, 200);
    let mut keys = KeyServiceClient::new(server.channel().await);
    let revoke = v1::RevokeKeyRequest {
        request_id: fresh(),
        key: id,
        reason: "lost at the dock".to_owned(),
    };
    keys.revoke_key(revoke).await.unwrap();
    assert_eq!(phone.get("/tickets").status, 303, "at once");
}

#[tokio::test]
async fn the_contract_reads_no_cookie_and_answers_as_before_beside_the_pages() {
    let server = harbor().await;
    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&secret);
    let session = desk.cookies["weighhouse"].clone();

    let channel = tonic::transport::Channel::from_shared(server.url.clone()).unwrap();
    let channel = channel.connect().await.unwrap();
    let mut keys = KeyServiceClient::new(channel);
    let mut request = tonic::Request::new(v1::GetCallerRequest {});
    let cookie = format!("weighhouse={session}").parse().unwrap();
    request.metadata_mut().insert("cookie", cookie);
    let refused = keys.get_caller(request).await.unwrap_err();
    assert_eq!(refused.code(), Code::Unauthenticated);

    // A session is no key either.
    let mut request = tonic::Request::new(v1::GetCallerRequest {});
    let bearer = format!("Bearer {session}").parse().unwrap();
    request.metadata_mut().insert("authorization", bearer);
    let refused = keys.get_caller(request).await.unwrap_err();
    assert_eq!(refused.code(), Code::Unauthenticated);
}

#[tokio::test]
async fn every_page_says_what_a_browser_may_do_with_it() {
    let server = harbor().await;
    let mut nobody = Browser::at(&server);
    let page = nobody.get("/components");
    let style = page.html.split("href=\"/look/").nth(1).unwrap();
    let style = format!("/look/{}", style.split('"').next().unwrap());
    for path in ["/", "/sign-in", "/components", "/nowhere", &style] {
        let page = nobody.get(path);
        let policy = page.header("content-security-policy");
        for rule in [
            "default-src 'none'",
            "style-src 'self'",
            "script-src 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        ] {
            assert!(policy.contains(rule), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(page.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(page.header("referrer-policy"), "same-origin", "{path}");
        let kept = page.header("cache-control");
        let expected = if path == style {
            "immutable"
        } else {
            "no-store"
        };
        assert!(kept.contains(expected), "{path}: {kept}");
        for inline in ["<style", "style=\"", "onclick", "javascript:", "<script>"] {
            assert!(!page.html.contains(inline), "{path}: {inline}");
        }
    }
    assert_eq!(nobody.get("/look/other.css").status, 404);
}

#[tokio::test]
async fn a_page_is_in_the_language_and_the_unit_that_were_chosen() {
    let server = harbor().await;
    let own = weigh_in(&server, "wren-haldane").await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let chosen = phone.get("/language/es?to=%2Ftickets");
    assert_eq!(
        (chosen.status, chosen.header("location")),
        (303, "/tickets")
    );
    let elsewhere = phone.get("/language/es?to=%2F%2Fevil.example");
    assert_eq!(elsewhere.header("location"), "/");
    phone.get("/unit/kg");
    let page = phone.get(&format!("/tickets/{own}"));
    assert!(page.html.contains("<html lang=\"es\">"), "{}", page.html);
    // 42.00 lb x 0.45359237 kg (NIST Handbook 44, appendix C) = 19.05087954 kg.
    for shown in [
        "Mis boletos",
        "Precauciones",
        "19.051 kg",
        "45.60 lb (dock)",
    ] {
        assert!(page.html.contains(shown), "{shown}: {}", page.html);
    }
}

#[tokio::test]
async fn over_tls_the_same_port_speaks_http_1_and_its_cookie_is_for_this_host_alone() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().to_str().unwrap();
    let made = crate::harness::run(&["certificate", "--folder", at, "--name", "127.0.0.1"]);
    assert!(made.status.success(), "{}", said(&made));
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let server = Server::with(&[
        "--tls-certificate",
        &file("service.pem"),
        "--tls-key",
        &file("service-key.pem"),
    ]);
    let mut roots = rustls::RootCertStore::empty();
    let authority = {
        use rustls::pki_types::pem::PemObject as _;
        rustls::pki_types::CertificateDer::from_pem_file(file("site-authority.pem")).unwrap()
    };
    roots.add(authority).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots);
    let mut config = config.with_no_client_auth();
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    let mut desk = Browser::at(&server);
    desk.tls = Some(Arc::new(config));

    let secret = std::fs::read_to_string(&server.key).unwrap();
    let answer = desk.post("/sign-in", &[("key", secret.trim())]);
    assert_eq!(answer.status, 303, "{}", answer.html);
    let cookie = answer.header("set-cookie");
    assert!(cookie.starts_with("__Host-weighhouse="), "{cookie}");
    for rule in ["Path=/", "HttpOnly", "Secure", "SameSite=Lax"] {
        assert!(cookie.contains(rule), "{cookie}");
    }
    assert_eq!(desk.get("/").status, 200);
}

#[tokio::test]
async fn a_link_of_the_office_signs_in_once_and_not_by_being_looked_at() {
    let server = harbor().await;
    let own = weigh_in(&server, "wren-haldane").await;
    let (id, _) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let (_, office) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&office);
    let page = desk.get("/keys");
    let token = page.hidden("token");
    let give = |desk: &mut Browser, request_id: &str| {
        let fields = [("token", token.as_str()), ("request_id", request_id)];
        desk.post(&format!("/keys/{id}/link"), &fields)
    };
    let given = give(&mut desk, "one");
    assert_eq!(given.status, 200, "{}", given.html);
    let link = given.html.split(&format!("http://{}", desk.address)).nth(1);
    let link = link.unwrap().split('<').next().unwrap().to_owned();
    assert!(
        link.starts_with("/sign-in/") && link.len() == 9 + 64,
        "{link}"
    );

    let mut preview = Browser::at(&server);
    assert_eq!(preview.get(&link).status, 200);
    assert!(preview.cookies.is_empty());
    let mut phone = Browser::at(&server);
    let page = phone.get(&link);
    let secret = page.hidden("link");
    let answer = phone.post("/sign-in/by-link", &[("link", &secret)]);
    assert_eq!((answer.status, answer.header("location")), (303, "/"));
    assert!(
        phone.get("/tickets").html.contains(&own),
        "who the key belongs to"
    );
    assert_eq!(phone.get("/keys").status, 404, "and no more than that");

    // Once, also after signing out.
    let again = preview.post("/sign-in/by-link", &[("link", &secret)]);
    assert_eq!(again.status, 401);
    assert!(again.html.contains("has been used"), "{}", again.html);
    let token_of_phone = phone.get("/tickets").hidden("token");
    phone.post("/sign-out", &[("token", &token_of_phone)]);
    let again = phone.post("/sign-in/by-link", &[("link", &secret)]);
    assert_eq!(again.status, 401);

    // Nor after its 15 minutes.
    let late = give(&mut desk, "two");
    let late = late.html.split("/sign-in/").nth(1).unwrap()[..64].to_owned();
    set_clock(&server, "2031-04-28T15:15:00-04:00").await;
    let ended = phone.post("/sign-in/by-link", &[("link", &late)]);
    assert_eq!(ended.status, 401);

    // A diver gives out none.
    let (_, diver) = key(&server, v1::Role::Diver, "jonas-brandeth").await;
    let mut other = Browser::at(&server);
    other.sign_in(&diver);
    let token = other.get("/").hidden("token");
    let fields = [("token", token.as_str()), ("request_id", "three")];
    let refused = other.post(&format!("/keys/{id}/link"), &fields);
    assert_eq!(refused.status, 404);
}

#[tokio::test]
async fn a_session_ends_after_twelve_hours() {
    let server = harbor().await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    set_clock(&server, "2031-04-29T02:59:59-04:00").await;
    assert_eq!(phone.get("/tickets").status, 200);
    set_clock(&server, "2031-04-29T03:00:00-04:00").await;
    assert_eq!(phone.get("/tickets").status, 303);
}

/// What a weigh-in of one tote says in the form.
fn tote<'a>(token: &'a str, request_id: &'a str, step: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("token", token),
        ("request_id", request_id),
        ("do", step),
        ("unit", "lb"),
        ("rows", "3"),
        ("harvester", "wren-haldane"),
        ("species", "PZO"),
        ("presentation", "1"),
        ("scale", "dock"),
        ("decision", "1"),
        ("small", "1"),
        ("confirmation", "1"),
        ("gross_1", "45.60"),
        ("tare_1", "3.60"),
        ("pieces_1", "30"),
        ("grade_1", "A"),
        ("condition_1", "1"),
    ]
}

#[tokio::test]
async fn a_weigh_in_is_looked_at_before_it_is_booked_and_booked_once() {
    let server = harbor().await;
    let (_, secret) = key(&server, v1::Role::Buyer, "").await;
    let mut tablet = Browser::at(&server);
    tablet.sign_in(&secret);
    let page = tablet.get("/weigh-in");
    assert_eq!(page.status, 200, "{}", page.html);
    let (token, id) = (page.hidden("token"), page.hidden("request_id"));

    let checked = tablet.post("/weigh-in", &tote(&token, &id, "check"));
    assert_eq!(checked.status, 200, "{}", checked.html);
    for shown in [
        "42.00 lb",
        "294.00 USD",
        "spines stay venomous",
        "value=\"turn\"",
    ] {
        assert!(checked.html.contains(shown), "{shown}: {}", checked.html);
    }
    assert_eq!(checked.hidden("request_id"), id, "it stays the same ticket");
    let turned = tablet.post("/weigh-in", &tote(&token, &id, "turn"));
    assert_eq!(turned.status, 200, "{}", turned.html);
    for shown in [
        "Wren",
        "294.00 USD",
        "value=\"book\"",
        "value=\"book_absent\"",
    ] {
        assert!(turned.html.contains(shown), "{shown}: {}", turned.html);
    }
    assert_eq!(turned.hidden("request_id"), id);
    assert_eq!(turned.hidden("gross_1"), "45.60", "all of it goes along");
    let none = tablet.get("/tickets");
    assert!(
        !none.html.contains("href=\"/tickets/"),
        "nothing is booked by that"
    );

    let mut slips = Vec::new();
    for _ in 0..2 {
        let booked = tablet.post("/weigh-in", &tote(&token, &id, "book"));
        assert_eq!(booked.status, 303, "{}", booked.html);
        slips.push(booked.header("location").to_owned());
    }
    assert_eq!(slips[0], slips[1]);
    let slip = tablet.get(&slips[0]);
    assert!(slip.html.contains("294.00 USD"), "{}", slip.html);
    let tickets = tablet.get("/tickets").html;
    assert_eq!(tickets.matches("href=\"/tickets/").count(), 1);

    // What cannot be is said above the form, with everything still in it.
    let mut wrong = tote(&token, "another", "book");
    wrong.retain(|(name, _)| *name != "tare_1");
    wrong.push(("tare_1", "45.60"));
    let refused = tablet.post("/weigh-in", &wrong);
    assert_eq!(refused.status, 422);
    assert!(refused.html.contains("role=\"alert\""), "{}", refused.html);
    assert!(refused.html.contains("value=\"30\""), "{}", refused.html);

    // A diver has no such page, and no such deed.
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let home = phone.get("/");
    assert!(!home.html.contains("/weigh-in"), "{}", home.html);
    assert_eq!(phone.get("/weigh-in").status, 404);
    let token = home.hidden("token");
    let refused = phone.post("/weigh-in", &tote(&token, "divers", "book"));
    assert_eq!(refused.status, 404);
}

#[tokio::test]
async fn a_key_given_out_on_a_page_is_shown_once_and_lets_in() {
    let server = harbor().await;
    let office = std::fs::read_to_string(&server.key).unwrap();
    let mut desk = Browser::at(&server);
    desk.sign_in(office.trim());
    let page = desk.get("/keys");
    let (token, request_id) = (page.hidden("token"), page.hidden("request_id"));
    let fields = [
        ("token", token.as_str()),
        ("request_id", &request_id),
        ("name", "dock tablet"),
        ("role", "buyer"),
        ("party", ""),
    ];
    let given = desk.post("/keys", &fields);
    let secret = given.html.split("whkey_").nth(1).unwrap()[..64].to_owned();
    let again = desk.post("/keys", &fields);
    assert_eq!(again.status, 200, "{}", again.html);
    assert!(!again.html.contains("whkey_"), "once: {}", again.html);
    let mut tablet = Browser::at(&server);
    tablet.sign_in(&format!("whkey_{secret}"));
    assert_eq!(tablet.get("/weigh-in").status, 200);

    let page = desk.get("/keys").html;
    assert_eq!(page.matches("dock tablet:").count(), 1, "given out once");
    let revoke = page.split("dock tablet:").nth(1).unwrap();
    let at = revoke
        .split("action=\"")
        .nth(2)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    let fields = [
        ("token", token.as_str()),
        ("request_id", "r"),
        ("reason", "lost"),
    ];
    assert_eq!(desk.post(at, &fields).status, 303);
    assert_eq!(tablet.get("/weigh-in").status, 303, "at once");
}

#[tokio::test]
async fn a_payee_sees_the_weights_and_their_own_share_and_no_price() {
    let server = harbor().await;
    let percent = |party: &str, percent: &str| v1::PayeeShare {
        party: party.to_owned(),
        share: Some(v1::payee_share::Share::Percent(percent.to_owned())),
    };
    let request = v1::RecordWeighInRequest {
        payees: vec![
            percent("wren-haldane", "60"),
            percent("jonas-brandeth", "40"),
        ],
        ..one_tote("45.60", "3.60", 30)
    };
    let answer = server.service().await.record_weigh_in(request).await;
    let id = answer.unwrap().ticket.unwrap().id;
    let (_, secret) = key(&server, v1::Role::Diver, "jonas-brandeth").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    // 40 % of 42.00 lb x 7.00 = 294.00: 117.60, and the other's is 176.40.
    for path in ["/tickets", &format!("/tickets/{id}")] {
        let page = phone.get(path);
        assert_eq!(page.status, 200, "{path}");
        for shown in ["42.00 lb", "117.60 USD"] {
            assert!(page.html.contains(shown), "{path} {shown}: {}", page.html);
        }
        for hidden in ["294.00", "176.40", "/lb<", "7.00 USD"] {
            assert!(
                !page.html.contains(hidden),
                "{path} {hidden}: {}",
                page.html
            );
        }
    }
}

#[tokio::test]
async fn who_may_not_is_told_that_there_is_no_such_page() {
    let server = harbor().await;
    let all = [
        "/tickets",
        "/statement",
        "/weigh-in",
        "/cut",
        "/yields",
        "/days",
        "/flags",
        "/lots",
        "/prices",
        "/keys",
    ];
    // In the order of the table that `weighhouse access` prints; a diver's and a
    // kitchen's own are pages of theirs.
    let cases: [(v1::Role, &str, &[&str]); 4] = [
        (
            v1::Role::Diver,
            "wren-haldane",
            &["/tickets", "/statement", "/yields", "/prices"],
        ),
        (
            v1::Role::Kitchen,
            "varnley-kitchen",
            &["/cut", "/yields", "/lots"],
        ),
        (
            v1::Role::Auditor,
            "",
            &[
                "/tickets",
                "/statement",
                "/yields",
                "/days",
                "/flags",
                "/lots",
                "/prices",
                "/keys",
            ],
        ),
        (v1::Role::Office, "", &all),
    ];
    for (role, party, reached) in cases {
        let (_, secret) = key(&server, role, party).await;
        let mut browser = Browser::at(&server);
        browser.sign_in(&secret);
        let home = browser.get("/").html;
        for path in all {
            let expected = if reached.contains(&path) { 200 } else { 404 };
            let page = browser.get(path);
            assert_eq!(page.status, expected, "{role:?} {path}: {}", page.html);
            let is_linked = home.contains(&format!("href=\"{path}\""));
            assert_eq!(is_linked, expected == 200, "{role:?} {path}");
        }
    }
}

#[tokio::test]
async fn a_diver_answers_what_is_told_of_their_fish_on_the_page_of_yields() {
    let server = Server::start();
    send_week(&server, Way::CatchUp).await;
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let at = "/yields?from=2031-04-28&to=2031-05-04";
    let page = phone.get(at);
    // Not what another answered in the demo's week.
    assert!(!page.html.contains("One hand cut"), "{}", page.html);
    let (token, request_id) = (page.hidden("token"), page.hidden("request_id"));
    let (from, to) = (page.hidden("from"), page.hidden("to"));
    let fields = [
        ("token", token.as_str()),
        ("request_id", &request_id),
        ("from", &from),
        ("to", &to),
        ("species", "PZO"),
        ("text", "cut <late>\r\nthat day"),
    ];
    for _ in 0..2 {
        let sent = phone.post("/yields/answer", &fields);
        let goes_to = format!("{at}#answers");
        assert_eq!(
            (sent.status, sent.header("location")),
            (303, goes_to.as_str())
        );
    }
    let page = phone.get(at);
    let words = "cut &#60;late&#62; that day";
    assert_eq!(page.html.matches(words).count(), 1, "{}", page.html);
    assert!(
        page.html.contains("diver wren-haldane (phone), 2031-05-05"),
        "{}",
        page.html
    );
    // Without words nothing is sent, and without the page's token.
    for (spoiled, status) in [(("text", " "), 422), (("token", "0"), 403)] {
        let mut spoilt = fields;
        let field = spoilt.iter_mut().find(|(name, _)| *name == spoiled.0);
        *field.unwrap() = spoiled;
        spoilt[1].1 = "another";
        assert_eq!(phone.post("/yields/answer", &spoilt).status, status);
    }
    // The office reads it and has no form; a kitchen and another diver do not see it.
    for (role, party, sees) in [
        (v1::Role::Office, "", true),
        (v1::Role::Kitchen, "hill-kitchen", false),
        (v1::Role::Diver, "jonas-brandeth", false),
    ] {
        let (_, secret) = key(&server, role, party).await;
        let mut other = Browser::at(&server);
        other.sign_in(&secret);
        let page = other.get(at);
        assert_eq!(page.status, 200);
        for words in [words, "One hand cut both of mine."] {
            assert_eq!(page.html.contains(words), sees, "{party}: {}", page.html);
        }
        let form = page.html.contains("action=\"/yields/answer\"");
        assert_eq!(form, role == v1::Role::Diver, "{party}");
    }
    // Nor does a kitchen answer for anybody.
    let (_, secret) = key(&server, v1::Role::Kitchen, "hill-kitchen").await;
    let mut kitchen = Browser::at(&server);
    kitchen.sign_in(&secret);
    let token = kitchen.get(at).hidden("token");
    let mut theirs = fields;
    theirs[0].1 = &token;
    theirs[1].1 = "third";
    assert_eq!(kitchen.post("/yields/answer", &theirs).status, 404);
}
