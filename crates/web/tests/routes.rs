//! Every address with a workshop of its own: status, headers, body; bad input changes nothing.

use std::{net::IpAddr, sync::Arc};

use axum::{
    Router,
    body::{Body, to_bytes},
    http::{HeaderMap, Request, StatusCode, header},
};
use tempfile::TempDir;
use tower::ServiceExt;
use web::{AppState, app};
use workshop::{Clock, OpenOptions, TakeIn, Workshop, views::Bench};

/// A workshop in a folder that goes away, and its pages.
struct House {
    folder: TempDir,
    workshop: Arc<Workshop>,
    pages: Router,
}

/// An answer, read to its end.
struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    body: String,
}

impl House {
    fn empty() -> House {
        let folder = tempfile::tempdir().expect("a folder");
        let options = OpenOptions {
            who: Some("Ines".to_owned()),
            clock: Clock::default(),
        };
        let workshop = Arc::new(Workshop::open(folder.path(), options).expect("a workshop"));
        let pages = app(AppState::new(
            workshop.clone(),
            IpAddr::from([127, 0, 0, 1]),
        ));
        House {
            folder,
            workshop,
            pages,
        }
    }

    fn with_three() -> House {
        let house = House::empty();
        let lot = TakeIn {
            line: "3 from Harbour Street, 90.00".to_owned(),
            ..TakeIn::default()
        };
        house.workshop.take_in(&lot).expect("three machines");
        house
    }

    fn bench(&self) -> Bench {
        self.workshop.bench().expect("a bench plan")
    }

    async fn ask(&self, request: Request<Body>) -> Answer {
        let response = self
            .pages
            .clone()
            .oneshot(request)
            .await
            .expect("an answer");
        let (parts, body) = response.into_parts();
        let body = to_bytes(body, usize::MAX).await.expect("a body");
        let body = String::from_utf8_lossy(&body).into_owned();
        Answer {
            status: parts.status,
            headers: parts.headers,
            body,
        }
    }

    async fn get(&self, address: &str) -> Answer {
        let request = Request::get(address).header(header::HOST, "localhost:8080");
        self.ask(request.body(Body::empty()).expect("a request"))
            .await
    }

    async fn post(&self, address: &str, form: &str) -> Answer {
        self.post_from(address, form, "http://localhost:8080").await
    }

    async fn post_from(&self, address: &str, form: &str, origin: &str) -> Answer {
        let request = Request::post(address)
            .header(header::HOST, "localhost:8080")
            .header(header::ORIGIN, origin)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        self.ask(
            request
                .body(Body::from(form.to_owned()))
                .expect("a request"),
        )
        .await
    }

    /// Follows a redirect after a form.
    async fn follow(&self, answer: &Answer) -> Answer {
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
        let address = answer.header("location");
        self.get(address.split('#').next().unwrap_or_default())
            .await
    }
}

impl Answer {
    fn header(&self, name: &str) -> String {
        let values: Vec<&str> = self
            .headers
            .get_all(name)
            .iter()
            .map(|value| value.to_str().expect("text"))
            .collect();
        values.join(", ")
    }

    fn has(&self, text: &str) -> &Answer {
        assert!(self.body.contains(text), "`{text}` is not in {}", self.body);
        self
    }
}

#[tokio::test]
async fn every_page_answers_with_the_policy() {
    let house = House::with_three();
    for address in [
        "/",
        "/bench",
        "/machine/T-01",
        "/rounds",
        "/plan",
        "/parcels",
        "/offers",
        "/stock",
        "/api/offers",
        "/api/stock",
        "/take-in",
        "/boards",
        "/boards/z80-micro",
        "/boards/z80-micro/about?name=CPU",
        "/boards/z80-micro/compare?with=z80-micro",
        "/nowhere",
        "/api/bench",
        "/api/rounds",
        "/machine/T-99",
    ] {
        let answer = house.get(address).await;
        let policy = answer.header("content-security-policy");
        assert!(
            policy.starts_with("default-src 'none'; style-src 'self'; script-src 'self'"),
            "{address}: {policy}"
        );
        assert!(
            policy.contains("frame-ancestors 'none'") && !policy.contains("unsafe"),
            "{address}: {policy}"
        );
        assert_eq!(
            answer.header("x-content-type-options"),
            "nosniff",
            "{address}"
        );
        assert_eq!(answer.header("referrer-policy"), "same-origin", "{address}");
        let found = !matches!(address, "/nowhere" | "/machine/T-99");
        assert_eq!(
            answer.status,
            if found {
                StatusCode::OK
            } else {
                StatusCode::NOT_FOUND
            },
            "{address}: {}",
            answer.body
        );
        assert!(
            !answer.body.contains(" style=\""),
            "{address} has a style inline"
        );
    }
}

#[tokio::test]
async fn the_rounds_lead_to_the_cells_where_they_are_written() {
    let house = House::empty();
    house.get("/rounds").await.has("Nothing is taken in yet.");
    let house = House::with_three();
    let found = house.workshop.rounds().expect("rounds");
    let look = &found.rounds[0].looks[0];
    let page = house.get("/rounds").await;
    assert_eq!(page.status, StatusCode::OK);
    let address = format!("/bench?check={}&amp;machine={}", look.check, look.tags[0]);
    page.has("<h1>").has("Next round: ").has(&address);
    let cell = house.get(&address.replace("&amp;", "&")).await;
    cell.has("id=\"value\"");
    house.get("/api/rounds").await.has("\"saves_an_hour\"");
}

#[tokio::test]
async fn the_first_page_takes_in() {
    let house = House::empty();
    house.get("/").await.has("Nothing is taken in yet.");
    let look = house
        .post("/take-in", "line=3+from+Harbour+Street%2C+90.00&look=1")
        .await;
    assert_eq!(look.status, StatusCode::OK);
    look.has("T-03")
        .has("Nothing is written yet.")
        .has("value=\"3 from Harbour Street, 90.00\"");
    assert!(
        house.workshop.is_empty().expect("a journal"),
        "a look writes nothing"
    );
    let taken = house
        .post(
            "/take-in",
            "line=3+from+Harbour+Street%2C+90.00&exceptions=&board=&tags=",
        )
        .await;
    house
        .follow(&taken)
        .await
        .has("T-01")
        .has("T-03")
        .has("Take it back");
    assert_eq!(house.bench().rows.len(), 3);
}

#[tokio::test]
async fn a_lot_that_cannot_be_read_is_kept_for_mending() {
    let house = House::empty();
    for line in [
        "",
        "some+from+a+shed",
        "9",
        "3+from+%3Cb%3Ehere%3C%2Fb%3E%2C+lots",
    ] {
        let answer = house
            .post("/take-in", &format!("line={line}&exceptions=T-01+was+wet"))
            .await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{line}");
        answer.has("role=\"alert\"").has("T-01 was wet");
        assert!(!answer.body.contains("<b>here"), "{line} is not escaped");
    }
    assert!(house.workshop.is_empty().expect("a journal"));
}

#[tokio::test]
async fn what_does_not_exist_names_the_machines_there_are() {
    let house = House::with_three();
    for address in [
        "/nowhere",
        "/machine/T-99",
        "/machine/%3Cscript%3E",
        "/parcels/Z.txt",
        "/bench?check=no-such-check",
    ] {
        let answer = house.get(address).await;
        assert_eq!(
            answer.status,
            StatusCode::NOT_FOUND,
            "{address}: {}",
            answer.body
        );
        answer
            .has("href=\"/machine/T-01\"")
            .has("href=\"/machine/T-03\"");
        assert!(
            !answer.body.contains("<script>"),
            "{address} is not escaped"
        );
    }
    let answer = House::empty().get("/machine/T-01").await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    answer.has("href=\"/take-in\"");
}

#[tokio::test]
async fn a_cell_is_opened_and_a_word_writes_it() {
    let house = House::with_three();
    let bench = house.bench();
    let check = &bench.checks[bench.now.expect("a check to begin with")];
    let word = &check.words[1].id;
    let open = house
        .get(&format!("/bench?check={}&machine=T-02", escaped(&check.id)))
        .await;
    open.has("name=\"next\" value=\"T-03\"");
    open.has("id=\"open\"")
        .has("name=\"machine\" value=\"T-02\"")
        .has(&format!("name=\"word\" value=\"{word}\""));
    let form = format!(
        "check={}&machine=T-02&value=&word={}&next=T-03",
        escaped(&check.id),
        escaped(word)
    );
    let written = house.post("/round", &form).await;
    let next = written.header("location");
    assert!(
        next.contains("machine=T-03") && next.contains("said="),
        "{next}"
    );
    house
        .follow(&written)
        .await
        .has("role=\"status\"")
        .has("Take it back")
        .has("name=\"machine\" value=\"T-03\"");
    assert_eq!(
        house
            .workshop
            .journal(Some("T-02"))
            .expect("a journal")
            .iter()
            .filter(|row| !row.entered.is_empty())
            .count(),
        1
    );
}

#[tokio::test]
async fn a_value_that_cannot_be_read_stays_in_its_cell() {
    let house = House::with_three();
    let check = house.bench().checks[0].id.clone();
    let before = house.workshop.journal(None).expect("a journal").len();
    let long = "9".repeat(5000);
    for value in ["no+such+word", "1x2y", "%00", "", &long] {
        let form = format!("check={}&machine=T-01&value={value}", escaped(&check));
        let answer = house.post("/round", &form).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{value}");
        answer
            .has("role=\"alert\"")
            .has("name=\"machine\" value=\"T-01\"");
    }
    house
        .post(
            "/round",
            &format!("check={}&machine=T-01&value=no+such+word", escaped(&check)),
        )
        .await
        .has("value=\"no such word\"");
    assert_eq!(
        house.workshop.journal(None).expect("a journal").len(),
        before
    );
}

#[tokio::test]
async fn a_line_on_the_card_is_written_and_taken_back() {
    let house = House::with_three();
    let check = house.bench().checks[0].clone();
    let line = format!("{} {}", check.id, check.words[0].id);
    let read = house
        .get(&format!("/read?machine=T-01&line={}", escaped(&line)))
        .await;
    read.has("Read as");
    let written = house
        .post("/machine/T-01", &format!("line={}", escaped(&line)))
        .await;
    house
        .follow(&written)
        .await
        .has("role=\"status\"")
        .has("Written: ");
    let lines = house.workshop.journal(Some("T-01")).expect("a journal");
    let last = lines.last().expect("a line");
    let undone = house
        .post(
            "/undo",
            &format!("lines={}&back=%2Fmachine%2FT-01", last.line),
        )
        .await;
    assert!(undone.header("location").starts_with("/machine/T-01?said="));
    house.follow(&undone).await.has("<del>");
    let again = house
        .post(
            "/undo",
            &format!("lines={}&back=%2F%2Fbench.example", last.line),
        )
        .await;
    assert_ne!(
        again.status,
        StatusCode::SEE_OTHER,
        "a line is taken back once"
    );
    assert_eq!(
        house.post("/undo", "lines=x&back=%2F").await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );
}

#[tokio::test]
async fn a_bare_value_is_of_the_check_in_hand() {
    let house = House::with_three();
    let check = house.bench().checks[0].clone();
    let form = format!(
        "check={}&line={}",
        escaped(&check.id),
        escaped(&check.words[0].id)
    );
    let written = house.post("/machine/T-01", &form).await;
    house.follow(&written).await.has("Written: ");
    let wrong = house
        .post(
            "/machine/T-01",
            &format!("check={}&line=7+of+nine%3B+x", escaped(&check.id)),
        )
        .await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    wrong.has("value=\"7 of nine; x\"").has("role=\"alert\"");
}

#[tokio::test]
async fn acts_are_written_or_refused_at_their_form() {
    let house = House::with_three();
    let wrong = house
        .post(
            "/machine/T-01/act",
            "act=reseat&part=no-such-part&what=&mark=",
        )
        .await;
    assert!(wrong.status.is_client_error(), "{}", wrong.status);
    wrong.has("role=\"alert\"").has("value=\"no-such-part\"");
    let melted = house
        .post("/machine/T-01/act", "act=melt&part=U9&what=&mark=")
        .await;
    assert_eq!(melted.status, StatusCode::UNPROCESSABLE_ENTITY);
    let truth = house.post("/machine/T-01/settle", "truth=no.such").await;
    assert!(truth.status.is_client_error(), "{}", truth.status);
    truth.has("value=\"no.such\"");
    let done = house
        .post("/machine/T-01/act", "act=reseat&part=cpu&what=&mark=")
        .await;
    house.follow(&done).await.has("role=\"status\"");
    let settled = house.post("/machine/T-01/settle", "truth=works").await;
    house.follow(&settled).await.has("role=\"status\"");
}

#[tokio::test]
async fn something_supposed_is_shown_and_not_written() {
    let house = House::with_three();
    let before = house.workshop.journal(None).expect("a journal").len();
    house
        .get("/machine/T-01?if=picture")
        .await
        .has("Only supposed, not recorded")
        .has("It showed this")
        .has("name=\"line\" value=\"picture black\"");
    house
        .get("/machine/T-01?if-act=reseat&if-of=CPU")
        .await
        .has("If CPU were reseated")
        .has("Write it for real")
        .has("name=\"act\" value=\"reseat\"");
    let refused = house.get("/machine/T-01?if=pull+XX").await;
    assert_eq!(refused.status, StatusCode::NOT_FOUND);
    refused.has("XX").has("id=\"wrong\"");
    house
        .get("/api/machine/T-01/what-if?if=reseat+CPU")
        .await
        .has("\"works_now\":");
    assert_eq!(
        house.workshop.journal(None).expect("a journal").len(),
        before
    );
}

#[tokio::test]
async fn power_shelf_and_swap_have_their_forms() {
    let house = House::with_three();
    let mule = TakeIn {
        line: "the mule".to_owned(),
        ..TakeIn::default()
    };
    house.workshop.take_in(&mule).expect("a mule");
    let said = house.post("/machine/T-01/power", "power=on").await;
    house.follow(&said).await.has("A power-up begins");
    let said = house
        .post("/machine/T-01/act", "act=swap&part=CPU&what=mule&mark=")
        .await;
    house
        .follow(&said)
        .await
        .has("Exchanged CPU with mule.")
        .has("Its own CPU is in the mule.");
    let said = house
        .post("/machine/T-02/act", "act=mend&part=track+1&what=&mark=")
        .await;
    house.follow(&said).await.has("Mended: track 1.");
    let said = house.post("/machine/T-03/shelve", "shelf=away").await;
    house.follow(&said).await.has("Take it back to the bench");
    house.get("/").await.has("On the shelf:");
    assert_eq!(house.bench().rows.len(), 2);
    let refused = house.post("/machine/T-03/shelve", "shelf=away").await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    refused.has("on the shelf already");
}

#[tokio::test]
async fn a_write_from_elsewhere_is_refused() {
    let house = House::empty();
    let form = "line=3+from+Harbour+Street%2C+90.00";
    for origin in [
        "http://bench.example",
        "null",
        "http://localhost:9000",
        "http://localhost:8080.example",
    ] {
        let answer = house.post_from("/take-in", form, origin).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{origin}");
        answer.has("nothing was written");
        assert!(!answer.header("content-security-policy").is_empty());
    }
    let request = Request::post("/take-in")
        .header(header::HOST, "localhost:8080")
        .header("sec-fetch-site", "cross-site");
    let answer = house
        .ask(request.body(Body::from(form)).expect("a request"))
        .await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert!(house.workshop.is_empty().expect("a journal"));
}

#[tokio::test]
async fn another_name_for_this_computer_is_refused() {
    let house = House::empty();
    for host in ["bench.example", "192.168.1.7:8080", "localhost.example"] {
        let request = Request::get("/").header(header::HOST, host);
        let answer = house
            .ask(request.body(Body::empty()).expect("a request"))
            .await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{host}");
    }
    let nameless = Request::get("/").body(Body::empty()).expect("a request");
    assert_eq!(house.ask(nameless).await.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn limits_that_cannot_be_read_stay_in_their_boxes() {
    let house = House::with_three();
    for (form, kept) in [
        ("money=much&evenings=", "value=\"much\""),
        ("money=80&evenings=three", "value=\"three\""),
    ] {
        let answer = house.post("/plan", form).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{form}");
        answer.has(kept).has("role=\"alert\"");
    }
    let set = house.post("/plan", "money=80.00&evenings=2").await;
    house
        .follow(&set)
        .await
        .has("value=\"80.00\"")
        .has("value=\"2\"");
    let lifted = house.post("/plan", "money=&evenings=").await;
    house
        .follow(&lifted)
        .await
        .has("id=\"money\" name=\"money\" value=\"\"");
}

#[tokio::test]
async fn a_decision_is_settled_and_let_go() {
    let house = House::empty();
    house.post("/take-in", "line=2+from+the+attic%2C+20").await;
    for (form, said) in [
        (
            "settle=T-01+give",
            "Expected fix, hold, donor, sell or keep",
        ),
        ("settle=T-09+hold", "There is no machine"),
        ("settle=without+nobody", "There is no vendor"),
    ] {
        let answer = house.post("/plan/settle", form).await;
        assert_eq!(answer.status.as_u16() / 100, 4, "{form}");
        answer.has(said).has("role=\"alert\"");
    }
    let set = house.post("/plan/settle", "settle=t1+hold").await;
    house
        .follow(&set)
        .await
        .has(" is held; else ")
        .has("name=\"free\" value=\"T-01 hold\"");
    let free = house.post("/plan/settle", "free=T-01+hold").await;
    let page = house.follow(&free).await;
    assert!(!page.body.contains(" is held; else "));
}

#[tokio::test]
async fn the_light_is_remembered() {
    let house = House::empty();
    let answer = house.post("/theme", "theme=dark&back=%2Ftake-in").await;
    assert_eq!(answer.header("location"), "/take-in");
    let cookie = answer.header("set-cookie");
    assert!(
        cookie.starts_with("theme=dark;") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    let request = Request::get("/take-in")
        .header(header::HOST, "localhost")
        .header(header::COOKIE, "a=b; theme=dark");
    house
        .ask(request.body(Body::empty()).expect("a request"))
        .await
        .has("data-theme=\"dark\"");
    let strange = house
        .post("/theme", "theme=%22%3E&back=https%3A%2F%2Fbench.example")
        .await;
    assert!(strange.header("set-cookie").starts_with("theme=system;"));
    assert_eq!(strange.header("location"), "/");
}

#[tokio::test]
async fn nobody_can_put_words_into_a_page() {
    let house = House::with_three();
    let answer = house.get("/?said=The+bench+is+closed").await;
    assert!(!answer.body.contains("The bench is closed"));
}

#[tokio::test]
async fn views_as_json() {
    let house = House::with_three();
    house
        .get("/api/bench")
        .await
        .has("\"heading\":")
        .has("\"tag\":\"T-01\"");
    house.get("/api/machine/T-01").await.has("\"suspects\":");
    house.get("/api/plan").await.has("\"decisions\":");
    house.get("/api/parcels").await.has("\"parcels\":");
    house.get("/api/boards").await.has("\"starter\":true");
    let answer = house.get("/api/machine/T-99").await;
    assert_eq!(
        (answer.status, answer.header("content-type")),
        (StatusCode::NOT_FOUND, "application/json".to_owned())
    );
    answer.has("\"error\":").has("\"hint\":");
}

#[tokio::test]
async fn assets_are_kept_for_ever_under_their_own_name() {
    let house = House::empty();
    let page = house.get("/").await;
    let style = page
        .body
        .split("rel=\"stylesheet\" href=\"")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .expect("a style");
    let answer = house.get(style).await;
    assert_eq!(answer.header("content-type"), "text/css; charset=utf-8");
    assert!(answer.header("cache-control").contains("immutable"));
    assert_eq!(
        house.get("/assets/style-000000000000.css").await.status,
        StatusCode::NOT_FOUND
    );
    assert_eq!(
        house.get("/assets/..%2F..%2FCargo.toml").await.status,
        StatusCode::NOT_FOUND
    );
}

#[tokio::test]
async fn ten_megabytes_are_refused() {
    let house = House::empty();
    let answer = house
        .post("/take-in", &format!("line={}", "x".repeat(10_000_000)))
        .await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(house.workshop.is_empty().expect("a journal"));
}

/// Percent-encodes what a form or a query cannot carry.
fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() {
                char::from(byte).to_string()
            } else {
                format!("%{byte:02X}")
            }
        })
        .collect()
}

/// A form's text as a browser sends it.
fn encoded(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

#[tokio::test]
async fn lists_go_into_a_board_of_ones_own_once_they_are_seen() {
    let house = House::with_three();
    let file = house.folder.path().join("boards/mine.toml");
    let board = "[board]\nid = \"mine\"\ntitle = \"Mine\"\n\n[[rail]]\nname = \"+5V\"\nvolts = 5.0\n\n[[part]]\nref = \"U1\"\ndevice = \"z80a\"\n";
    std::fs::write(&file, board).expect("written");
    house.get("/boards").await.has("/boards/mine");
    house.get("/boards/mine").await.has("Take a parts list in");
    let list = encoded("U7 SN74LS138N\r\nU16-U23: 4164");
    let shown = house
        .post("/boards/mine/parts", &format!("text={list}"))
        .await;
    shown
        .has("nothing is written yet")
        .has("SN74LS138N is 74ls138");
    assert_eq!(std::fs::read_to_string(&file).expect("read"), board);
    house
        .post("/boards/mine/parts", &format!("text={list}&take=yes"))
        .await
        .has("Nine parts went into");
    let taken = std::fs::read_to_string(&file).expect("read");
    assert!(
        taken.starts_with(board.trim_end()) && taken.contains("ref = \"U16-U23\""),
        "{taken}"
    );
    let wrong = house
        .post(
            "/boards/mine/parts",
            &format!("text={}&take=yes", encoded("Ref;Value\nU1;74LS00\n4;U2\n")),
        )
        .await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    wrong.has("found the quantity 4");
    for (what, text, says) in [
        (
            "parts",
            "Ref;Value\nU3;74LS00\nU4\n",
            "may have been cut off",
        ),
        (
            "parts",
            "Ref\tValue\nU3\t74LS00\nU4;74LS00",
            "another separator",
        ),
        ("nets", "CLK: U1.6 U7.99", "a pin of U7"),
        (
            "revision",
            "[board]\nid = \"mine\"\n[[pa",
            "Nothing was written",
        ),
    ] {
        let body = format!("text={}&take=yes", encoded(text));
        let wrong = house.post(&format!("/boards/mine/{what}"), &body).await;
        assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{text}");
        wrong.has(says);
    }
    assert_eq!(std::fs::read_to_string(&file).expect("read"), taken);
    house
        .post(
            "/boards/mine/nets",
            &format!("text={}&take=yes", encoded("CLK: U1.6 U7.1")),
        )
        .await
        .has("One net went into");
    house
        .get("/boards/mine/net?name=CLK")
        .await
        .has("CLK joins two pins.");
    let revision = encoded(&taken.replace("title = \"Mine\"", "title = \"Still mine\""));
    house
        .post("/boards/mine/revision", &format!("text={revision}"))
        .await
        .has("Title Still mine, was Mine");
    house
        .get("/boards/mine/about?name=U7")
        .await
        .has("3-to-8 decoder");
    let missing = house.get("/boards/nothing").await;
    assert_eq!(missing.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn the_drawer_by_form_and_nonsense_with_a_sentence() {
    let house = House::with_three();
    let bad = house.post("/stock", "what=&works=&note=&way=in").await;
    assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
    bad.has("Expected how many of what");
    let none = house
        .post("/stock", "what=3+fuse&works=&note=&way=out")
        .await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    none.has("in the drawer, found 0");
    let put = house
        .post("/stock", "what=3+fuse&works=80+%25&note=attic&way=in")
        .await;
    house.follow(&put).await.has("each good with").has("attic");
    let wished = house.post("/stock", "what=5+fuse&way=wish").await;
    house
        .follow(&wished)
        .await
        .has("Wanted for the drawer")
        .has("no-wish");
    let let_go = house.post("/stock", "what=fuse&way=no-wish").await;
    house.follow(&let_go).await.has("is wanted no more");
    let built = house.post("/stock", "what=2+ob-2&way=built").await;
    assert_eq!(built.status, StatusCode::NOT_FOUND);
    built.has("Expected a board that can be built");
    let nobody = house
        .post("/offers", "vendor=swan&text=fuse+0.20&take=1")
        .await;
    assert_eq!(nobody.status, StatusCode::NOT_FOUND);
    nobody.has("There is no vendor yet");
    let parcel = house
        .post("/parcels/A/received", "what=3+fuse&way=open")
        .await;
    assert_eq!(parcel.status, StatusCode::NOT_FOUND);
    let donor = house.post("/machine/T-01/strip", "").await;
    assert!(donor.status.is_client_error(), "{}", donor.body);
}

#[tokio::test]
async fn a_board_is_begun_and_a_block_taken_to_pieces() {
    let house = House::with_three();
    let file = house.folder.path().join("boards/ostrel-9.toml");
    house.get("/boards").await.has("/new-board");
    house.get("/new-board").await.has("What it is called");
    let typed = "title=Ostrel+9&cpu=z80&ram=";
    let shown = house.post("/new-board", typed).await;
    shown.has("Board ostrel-9").has("Write it");
    assert!(!file.exists());
    let wrong = house.post("/new-board", "title=Ostrel+9&cpu=abacus").await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    wrong.has("abacus");
    house
        .post("/new-board", &format!("{typed}&take=yes"))
        .await
        .has("Take a block to pieces");
    let begun = std::fs::read_to_string(&file).expect("written");
    let again = house.post("/new-board", typed).await;
    assert!(again.status.is_client_error(), "{}", again.body);
    // a board of this name has a page like any other
    house.post("/new-board", "title=New&cpu=z80&take=yes").await;
    house.get("/boards/new").await.has("Take a parts list in");
    let pieces = encoded("U21 6845 socket\r\nU22-U25 74ls166");
    let split = format!("block=video&pieces={pieces}");
    let address = "/boards/ostrel-9/split";
    house.post(address, &split).await.has("Take it to pieces");
    assert_eq!(std::fs::read_to_string(&file).expect("read"), begun);
    house
        .post(address, &format!("{split}&take=yes"))
        .await
        .has("To the board");
    let taken = std::fs::read_to_string(&file).expect("read");
    assert!(taken.contains("U22-U25"), "{taken}");
    let nothing = house.post(address, "block=video&pieces=").await;
    assert!(nothing.status.is_client_error(), "{}", nothing.body);
}
