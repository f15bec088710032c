//! Who may act and who may not, from outside. The tests connect from the station's own machine; with `X-Forwarded-For` they
//! are somebody else, as behind a proxy.

use loftwatch_flight::EventKind;

use super::*;
use crate::crew::Crew;

const JSON: &str = "Content-Type: application/json\r\n";
const ELSEWHERE: &str = "X-Forwarded-For: 192.168.4.7\r\n";

/// Everything that a page can have done, with a body that is right.
const ACTIONS: [(&str, &str); 17] = [
    ("/api/act", r#"{"kind": "mark", "label": "chute seen", "who": "Mo"}"#),
    ("/api/act", r#"{"kind": "correct", "flight": 1, "id": 1000000, "label": "seen", "t_s": 1795600010}"#),
    ("/api/act", r#"{"kind": "withdraw", "flight": 1, "id": 1000000}"#),
    ("/api/act", r#"{"kind": "name", "name": "third try"}"#),
    ("/api/act", r#"{"kind": "end"}"#),
    ("/api/setup/check", r#"{"text": "", "edition": ""}"#),
    ("/api/setup", r#"{"text": "", "edition": ""}"#),
    ("/api/radio/try", r#"{"text": ""}"#),
    ("/api/show", r#"{"flight": 1}"#),
    ("/api/flights/1/remark", r#"{"kind": "notes", "notes": "windy"}"#),
    ("/api/flights/1/remark", r#"{"kind": "delete", "label": "second try"}"#),
    (
        "/api/flights/1/log",
        r#"{"name": "a.csv", "text": "t,p", "body": null, "separator": ",", "time": {"column": "t", "unit": "s"}, "columns": [], "keep": true}"#,
    ),
    ("/api/crew/new-code", ""),
    ("/api/crew/join", r#"{"code": "", "who": "Mo"}"#),
    ("/api/act", r#"{"kind": "accept", "key": "battery:Body", "on": true, "why": "it is cold"}"#),
    ("/api/prepare/figures", r#"{"edition": "", "edits": []}"#),
    ("/api/prepare/vehicles", r#"{"kind": "keep"}"#),
];

async fn post(station: &Station, path: &str, extra: &str, body: &str) -> (String, String) {
    ask(station, "POST", path, extra, body).await
}

fn status(head: &str) -> &str {
    head.split(' ').nth(1).unwrap_or_default()
}

/// Joins from elsewhere; gives the header line with the cookie.
async fn join(station: &Station, who: &str) -> String {
    let body = format!(r#"{{"code": "{}", "who": "{who}"}}"#, station.shared.crew.code());
    let (head, _) = post(station, "/api/crew/join", &format!("{JSON}{ELSEWHERE}"), &body).await;
    assert_eq!(status(&head), "204", "{head}");
    let cookie = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    for part in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=259200"] {
        assert!(cookie.contains(part), "{part} in {cookie}");
    }
    assert!(head.contains("cache-control: no-store"), "{head}");
    let token = cookie.split(';').next().unwrap();
    assert_eq!(token.len(), "loftwatch_crew=".len() + 64, "256 bits: {token}");
    format!("Cookie: {token}\r\n")
}

/// A station that shows a flight with one mark.
async fn with_a_mark(setup_file: Option<&std::path::Path>) -> Station {
    let station = station_of(setup_file).await;
    station.shared.hub.take(&[
        output(1, 0.0, made::flight(Some(5.0), None)),
        output(2, 9.0, made::event(1_000_000, 0, EventKind::Mark, 8.0)),
    ]);
    station
}

/// What was pressed since the last look; what links do by themselves is left out.
fn pressed(station: &Station) -> Vec<What> {
    let inputs = station.shared.ring.drain().inputs.into_iter().map(|input| input.what);
    inputs.filter(|what| !matches!(what, What::LinkState { .. })).collect()
}

#[tokio::test]
async fn nothing_that_a_viewer_sends_changes_anything() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("setup.toml");
    std::fs::write(&file, SETUP).unwrap();
    let station = with_a_mark(Some(&file)).await;
    let mine = join(&station, "Mo").await;
    let code = station.shared.crew.code();
    let guess = "0".repeat(64);
    let hash_kept = std::fs::read_to_string(station.folder.path().join("crew.json")).unwrap();
    let hash_kept =
        serde_json::from_str::<Json>(&hash_kept).unwrap()["sessions"][0]["hash"].as_str().unwrap().to_owned();
    let forged = [
        String::new(),
        "Cookie: loftwatch_crew=\r\n".to_owned(),
        format!("Cookie: loftwatch_crew={guess}\r\n"),
        format!("Cookie: loftwatch_crew={hash_kept}\r\n"),
        format!("Cookie: loftwatch_crew={code}\r\n"),
        format!("Cookie: loftwatch_crew={}\r\n", "f".repeat(8_000)),
        "Cookie: loftwatch_crew; =; loftwatch_crew=%00%ff; loftwatch_crew=\"\r\n".to_owned(),
        mine.replace("loftwatch_crew", "loftwatch_Crew"),
        mine.replace("\r\n", "0\r\n"),
    ];
    let long = format!(r#"{{"kind": "name", "text": "{0}", "code": "{0}"}}"#, "x".repeat(300 * 1024));
    for (path, right) in ACTIONS {
        for cookie in &forged {
            for kind in [
                JSON,
                "",
                "Content-Type: text/plain\r\n",
                "Content-Type: application/x-www-form-urlencoded\r\n",
            ] {
                let (head, answer) = post(&station, path, &format!("{kind}{ELSEWHERE}{cookie}"), right).await;
                let expected: &[&str] = match path {
                    "/api/crew/join" if kind == JSON => &["403", "429"],
                    "/api/crew/join" => &["422"],
                    _ => &["403"],
                };
                assert!(
                    expected.contains(&status(&head)) || head.is_empty(),
                    "{path} {cookie}{kind}: {head}\n{answer}"
                );
                assert!(!head.to_ascii_lowercase().contains("set-cookie"), "{head}");
            }
        }
        // A body that is never to be read may also be answered by a closed connection.
        let (head, _) = post(&station, path, &format!("{JSON}{ELSEWHERE}"), &long).await;
        assert!(matches!(status(&head), "403" | "413" | "429" | ""), "{path}: {head}");
        // With a good cookie, but from another site's page: a browser would not even send it.
        for origin in
            ["Origin: http://evil.example\r\n", "Origin: null\r\n", "Sec-Fetch-Site: cross-site\r\n"]
        {
            let (head, _) = post(&station, path, &format!("{JSON}{ELSEWHERE}{mine}{origin}"), right).await;
            assert_eq!(status(&head), "403", "{path} {origin}");
            let (head, _) = post(&station, path, &format!("{JSON}{origin}"), right).await;
            assert_eq!(status(&head), "403", "{path} {origin} on the station's own machine");
        }
        for method in ["GET", "PUT", "DELETE", "PATCH"] {
            let read = ["/api/setup", "/api/prepare/figures", "/api/prepare/vehicles"];
            if method != "GET" || !read.contains(&path) {
                let (head, _) = ask(&station, method, path, &format!("{JSON}{mine}"), right).await;
                assert!(matches!(status(&head), "405" | "403"), "{method} {path}: {head}");
            }
        }
    }
    for path in ["/api/setup", "/api/crew/code", "/api/prepare/figures", "/api/prepare/vehicles"] {
        let (head, body) = ask(&station, "GET", path, ELSEWHERE, "").await;
        assert_eq!(status(&head), "403", "{path}: {head}");
        assert!(!body.contains(code.letters()) && !body.contains("ttyUSB0"), "{body}");
    }
    assert!(pressed(&station).is_empty());
    assert_eq!(station.shared.crew.code(), code);
    assert_eq!(station.shared.crew.names(station.shared.clock.now_ns()).len(), 1);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), SETUP);
    // And the one who has joined still acts.
    let (head, _) = post(&station, ACTIONS[0].0, &format!("{JSON}{ELSEWHERE}{mine}"), ACTIONS[0].1).await;
    assert_eq!(status(&head), "204", "{head}");
}

#[tokio::test]
async fn who_has_joined_acts_under_the_name_given_then() {
    let station = with_a_mark(None).await;
    let cookie = join(&station, "Ada\\u0007 of the pad").await;
    let (_, about) = ask(&station, "GET", "/api/about", &format!("{ELSEWHERE}{cookie}"), "").await;
    let about: Json = serde_json::from_str(&about).unwrap();
    assert_eq!((&about["can_act"], &about["own_machine"]), (&true.into(), &false.into()));
    assert_eq!(about["who"], "Ada  of the pad");
    for (path, body) in &ACTIONS[..5] {
        let body =
            body.replace("1795600010", &(station.shared.clock.now_ns() / 1_000_000_000 - 20).to_string());
        let (head, answer) = post(&station, path, &format!("{JSON}{ELSEWHERE}{cookie}"), &body).await;
        assert_eq!(status(&head), "204", "{body}: {head}\n{answer}");
    }
    let inputs = pressed(&station);
    assert_eq!(inputs.len(), 5);
    for what in &inputs {
        let (What::Mark { who, .. }
        | What::CorrectMark { who, .. }
        | What::WithdrawMark { who, .. }
        | What::NameFlight { who, .. }
        | What::EndFlight { who }) = what
        else {
            panic!("{what:?}")
        };
        assert_eq!(who, "Ada  of the pad", "not what the request says");
    }
    let (head, _) = post(&station, "/api/crew/leave", &format!("{ELSEWHERE}{cookie}"), "").await;
    assert!(status(&head) == "204" && head.contains("Max-Age=0"), "{head}");
    let (head, answer) =
        post(&station, "/api/act", &format!("{JSON}{ELSEWHERE}{cookie}"), ACTIONS[0].1).await;
    assert!(status(&head) == "403" && answer.contains("no longer crew"), "{head}\n{answer}");
    assert!(pressed(&station).is_empty());
}

#[tokio::test]
async fn what_is_not_within_limits_is_accepted_with_the_words_of_the_station_and_only_on_the_pad() {
    let station = station().await;
    station
        .shared
        .hub
        .take(&[output(1, 0.0, made::flight(None, None)), output(2, 1.0, made::readiness(1.0))]);
    let accept = |key: &str, on: bool, why: &str| {
        format!(r#"{{"kind":"accept","key":"{key}","on":{on},"why":"{why}","who":"Mo","figure":"fine"}}"#)
    };
    for (key, on, why, expected) in [
        ("battery:Body", true, " ", "422"),
        ("heard:Body", true, "I heard it", "409"),
        ("nothing:Body", true, "why not", "409"),
        ("battery:Body", true, "it is cold", "204"),
        ("battery:Body", false, "", "204"),
    ] {
        let (head, answer) = post(&station, "/api/act", JSON, &accept(key, on, why)).await;
        assert_eq!(status(&head), expected, "{key} {why}: {answer}");
    }
    let all = pressed(&station);
    let [What::Accept(taken), What::Accept(back)] = &all[..] else { panic!("{all:?}") };
    assert_eq!(
        (taken.figure.as_str(), taken.who.as_str(), taken.why.as_str()),
        ("7.1 V", "Mo", "it is cold")
    );
    assert!(taken.on && !back.on);
    station.shared.hub.take(&[output(3, 9.0, made::flight(Some(5.0), None))]);
    let (head, answer) = post(&station, "/api/act", JSON, &accept("battery:Body", true, "late")).await;
    assert!(status(&head) == "409" && answer.contains("not on the pad"), "{head}\n{answer}");
}

#[tokio::test]
async fn the_stations_own_machine_acts_without_a_code_and_makes_a_new_one() {
    let station = with_a_mark(None).await;
    let (head, _) = post(&station, "/api/act", JSON, ACTIONS[0].1).await;
    assert_eq!(status(&head), "204", "{head}");
    assert!(
        matches!(&pressed(&station)[..], [What::Mark { label, who, .. }] if label == "chute seen" && who == "Mo")
    );
    let (head, _) = post(&station, "/api/crew/join", JSON, r#"{"who": "Ada"}"#).await;
    assert_eq!(status(&head), "204", "{head}");
    let (head, _) = post(&station, "/api/crew/join", JSON, r#"{"who": " \u0000 "}"#).await;
    assert_eq!(status(&head), "422", "{head}");
    let cookie = join(&station, "Mo").await;
    let (head, _) = ask(&station, "GET", "/api/crew/code", &format!("{ELSEWHERE}{cookie}"), "").await;
    assert_eq!(status(&head), "403", "crew from elsewhere do not see the code");
    let old = station.shared.crew.code();
    let (_, body) = get(&station, "/api/crew/code").await;
    let told: Json = serde_json::from_str(&body).unwrap();
    assert_eq!(told["code"], old.to_string());
    assert_eq!(told["crew"].as_array().unwrap().len(), 2);
    let (head, body) = post(&station, "/api/crew/new-code", "", "").await;
    assert_eq!(status(&head), "200", "{head}");
    let new: Json = serde_json::from_str(&body).unwrap();
    assert!(new["code"] != told["code"] && new["crew"].as_array().unwrap().is_empty(), "{body}");
    let (head, _) = post(&station, "/api/act", &format!("{JSON}{ELSEWHERE}{cookie}"), ACTIONS[0].1).await;
    assert_eq!(status(&head), "403", "a new code ends all sessions");
    let again = Crew::open(station.folder.path()).unwrap();
    assert_eq!(again.code().to_string(), new["code"], "it is written down");
    let outsider = listen::Ends {
        peer: "192.168.4.7:1".parse().unwrap(),
        local: "192.168.4.1:80".parse().unwrap(),
        secure: false,
    };
    let insider = listen::Ends { peer: "192.168.4.1:1".parse().unwrap(), ..outsider };
    let none = axum::http::HeaderMap::new();
    let may = |ends| actor::Asker::of(&station.shared, ends, &none).may_act();
    assert!(!may(Some(&outsider)) && may(Some(&insider)) && !may(None));
}

#[tokio::test]
async fn a_session_outlives_a_restart() {
    let station = with_a_mark(None).await;
    let cookie = join(&station, "Mo").await;
    let token = cookie.trim().rsplit('=').next().unwrap().to_owned();
    let again = Crew::open(station.folder.path()).unwrap();
    assert_eq!(again.who(&token, station.shared.clock.now_ns()), Some("Mo".to_owned()));
}

#[tokio::test]
async fn guessing_codes_is_slowed_down() {
    let station = station().await;
    let extra = format!("{JSON}{ELSEWHERE}");
    let mut refused = Vec::new();
    for _ in 0..12 {
        let (head, answer) =
            post(&station, "/api/crew/join", &extra, r#"{"code": "AAAA-AAAA", "who": "x"}"#).await;
        if status(&head) == "429" {
            assert!(
                head.contains("retry-after: ") && answer.contains("was not looked at"),
                "{head}\n{answer}"
            );
        }
        refused.push(status(&head).to_owned());
    }
    assert_eq!(refused[0], "403");
    assert!(refused.contains(&"429".to_owned()), "{refused:?}");
    assert!(refused.iter().filter(|status| *status == "403").count() < 12);
    let right = format!(r#"{{"code": "{}", "who": "x"}}"#, station.shared.crew.code());
    let (head, _) = post(&station, "/api/crew/join", JSON, &right).await;
    assert_eq!(status(&head), "204", "the station's own machine is never slowed down");
}

#[tokio::test]
async fn a_press_that_is_wrong_or_too_late_is_told_in_words() {
    let station = station().await;
    let (head, answer) = post(&station, "/api/act", JSON, ACTIONS[0].1).await;
    assert!(status(&head) == "409" && answer.contains("no flight yet"), "{head}\n{answer}");
    station.shared.hub.take(&[output(1, 0.0, made::flight(Some(5.0), Some(40.0)))]);
    let now_s = station.shared.clock.now_ns() / 1_000_000_000;
    for (extra, body, expected) in [
        (JSON, r#"{"kind":"mark","label":" "}"#.to_owned(), "422"),
        (JSON, r#"{"kind":"launch"}"#.to_owned(), "422"),
        (JSON, String::new(), "422"),
        ("", r#"{"kind":"end"}"#.to_owned(), "422"),
        (JSON, r#"{"kind":"end"}"#.to_owned(), "409"),
        (JSON, r#"{"kind":"end","flight":2}"#.to_owned(), "409"),
        (JSON, format!(r#"{{"kind":"correct","flight":1,"id":7,"label":"a","t_s":{now_s}}}"#), "409"),
        (JSON, format!(r#"{{"kind":"correct","flight":3,"id":1000000,"label":"a","t_s":{now_s}}}"#), "409"),
        (JSON, r#"{"kind":"correct","flight":1,"id":1000000,"label":"a","t_s":1e300}"#.to_owned(), "422"),
        (JSON, r#"{"kind":"withdraw","flight":1,"id":0}"#.to_owned(), "409"),
        (JSON, format!(r#"{{"kind":"mark","label":"{}"}}"#, "x".repeat(MOST_BODY_BYTES)), "413"),
    ] {
        let (head, answer) = post(&station, "/api/act", extra, &body).await;
        assert_eq!(status(&head), expected, "{body}: {head}\n{answer}");
        let problem: Json = serde_json::from_str(&answer).unwrap();
        assert!(problem["error"].is_string() && problem["kept"].is_string() && problem["hint"].is_string());
    }
    assert!(pressed(&station).is_empty());
}

const SETUP: &str = "[vehicle]\nname = \"Small\" # ours\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\n\
    total_impulse_ns = 320\n[[link]]\nname = \"radio\"\nkind = \"serial\"\npath = \"/dev/ttyUSB0\"\n";

#[tokio::test]
async fn crew_change_the_setup_file_and_it_is_recorded_who_did() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("setup.toml");
    std::fs::write(&file, SETUP).unwrap();
    let station = with_a_mark(Some(&file)).await;
    let extra = format!("{JSON}{ELSEWHERE}{}", join(&station, "Ada").await);
    let (_, body) = ask(&station, "GET", "/api/setup", &extra, "").await;
    let got: Json = serde_json::from_str(&body).unwrap();
    assert_eq!((&got["text"], &got["name"]), (&SETUP.into(), &"setup.toml".into()));
    assert_eq!(got["wrong"], false);
    let wanted = |text: &str, edition: &Json| {
        serde_json::json!({ "text": text, "edition": edition, "who": "somebody else" }).to_string()
    };
    let wrong = wanted(&SETUP.replace("0.075", "\"thin\""), &got["edition"]);
    for path in ["/api/setup/check", "/api/setup"] {
        let (head, answer) = post(&station, path, &extra, &wrong).await;
        let verdict: Json = serde_json::from_str(&answer).unwrap();
        assert_eq!(status(&head), "200", "{head}");
        let mistake = &verdict["mistakes"][0];
        assert_eq!((&mistake["line"], &mistake["column"]), (&4.into(), &14.into()), "{answer}");
    }
    let right = wanted(&SETUP.replace("2.4", "2.6"), &got["edition"]);
    let (_, answer) = post(&station, "/api/setup/check", &extra, &right).await;
    let verdict: Json = serde_json::from_str(&answer).unwrap();
    let changes = verdict["changes"].as_array().unwrap();
    let change = changes.iter().find(|change| change["key"] == "vehicle.liftoff_mass_kg").unwrap();
    assert_eq!(change["on_the_ground"], true, "{answer}");
    assert!(pressed(&station).is_empty(), "a check changes nothing");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), SETUP);

    let (head, answer) = post(&station, "/api/setup", &extra, &right).await;
    assert_eq!(status(&head), "200", "{head}\n{answer}");
    assert!(std::fs::read_to_string(&file).unwrap().contains("\"Small\" # ours\nliftoff_mass_kg = 2.6"));
    let inputs = pressed(&station);
    let [What::SetupByCrew { setup, who }] = &inputs[..] else { panic!("{inputs:?}") };
    assert_eq!((who.as_str(), setup.plan.vehicle.liftoff_mass_kg.value), ("Ada", 2.6));
    assert_eq!(station.shared.setup.borrow().setup, **setup);
    let (head, answer) = post(&station, "/api/setup", &extra, &right).await;
    assert!(status(&head) == "409" && answer.contains("somebody else"), "{head}\n{answer}");
    // The file on the station's machine that is looked at every second is now this one: nothing is recorded twice.
    tokio::time::sleep(Duration::from_millis(1500)).await;
    assert!(pressed(&station).is_empty());
}

#[tokio::test]
async fn everyone_can_read_what_the_crew_did_newest_first() {
    let station = station().await;
    let file = station.stored.folder.inputs();
    let mut store = crate::store::inputs::connect(&file).await.unwrap();
    let who = || "Mo".to_owned();
    let told = made::setup();
    let all = [
        What::SetupChange(Box::new(told.clone())),
        What::Mark { label: "=chute <b>seen</b>".into(), at_ns: EPOCH_NS, who: who() },
        What::CorrectMark { flight: 1, id: 1_000_000, label: "chute".into(), at_ns: EPOCH_NS, who: who() },
        What::Bytes { link: "mast".into(), bytes: vec![1] },
        What::WithdrawMark { flight: 1, id: 1_000_000, who: who() },
        What::NameFlight { name: "third try".into(), who: who() },
        What::SetupByCrew { setup: Box::new(told), who: who() },
        What::EndFlight { who: who() },
        What::Accept(Box::new(loftwatch_engine::output::Accepted {
            key: "battery:Body".into(),
            on: true,
            what: "Body battery".into(),
            figure: "7.1 V".into(),
            limit: "at least 7.4 V".into(),
            who: who(),
            why: "it is cold".into(),
        })),
    ];
    let inputs: Vec<loftwatch_engine::Input> = all
        .into_iter()
        .zip(1..)
        .map(|(what, number)| loftwatch_engine::Input { number, t_ns: EPOCH_NS, utc_ns: EPOCH_NS, what })
        .collect();
    crate::store::inputs::write(&mut store, &inputs).await.unwrap();
    let (head, body) = ask(&station, "GET", "/api/crew/log", ELSEWHERE, "").await;
    assert_eq!(status(&head), "200", "{head}\n{body}");
    let deeds: Json = serde_json::from_str(&body).unwrap();
    let did: Vec<&str> = deeds.as_array().unwrap().iter().map(|deed| deed["did"].as_str().unwrap()).collect();
    assert_eq!(did, ["accept", "end", "setup", "name", "withdraw", "correct", "mark"]);
    assert!(
        deeds.as_array().unwrap().iter().all(|deed| deed["who"] == "Mo" && deed["utc_s"] == 1_795_600_000.0)
    );
    assert_eq!(deeds[0]["what"], "Body battery, 7.1 V, because it is cold");
    assert_eq!(deeds[6]["what"], "=chute <b>seen</b>");
    let plan: Vec<(i64, i64, i64, String)> =
        sqlx::query_as("EXPLAIN QUERY PLAN SELECT number FROM crew ORDER BY number DESC LIMIT 50")
            .fetch_all(&station.stored.inputs)
            .await
            .unwrap();
    assert!(
        plan.iter().any(|row| row.3.contains("input_other")),
        "not all bytes are looked through: {plan:?}"
    );
}
