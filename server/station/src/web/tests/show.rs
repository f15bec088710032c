//! The show and what the crew tells about flights, from outside.

use super::*;

const JSON: &str = "Content-Type: application/json\r\n";

async fn post(station: &Station, path: &str, body: &str) -> (String, String) {
    ask(station, "POST", path, JSON, body).await
}

/// A socket of somebody who is not crew.
async fn viewer(station: &Station) -> Socket {
    let mut request = format!("ws://{}/api/show/socket", station.address).into_client_request().unwrap();
    request.headers_mut().insert("x-forwarded-for", "192.168.4.7".parse().unwrap());
    tokio_tungstenite::connect_async(request).await.unwrap().0
}

async fn say(socket: &mut Socket, ask: &str) {
    socket.send(Frame::text(ask.to_owned())).await.unwrap();
}

/// The next message of a kind that is as wanted.
async fn when(socket: &mut Socket, kind: &str, wanted: impl Fn(&Json) -> bool) -> Json {
    for _ in 0..400 {
        let message = next(socket, kind).await;
        if wanted(&message) {
            return message;
        }
    }
    panic!("no `{kind}` as wanted")
}

#[tokio::test]
async fn everybody_follows_what_one_person_drives() {
    let station = station().await;
    let mut early = viewer(&station).await;
    assert_eq!(next(&mut early, "show").await["flight"], Json::Null, "there is no show yet");
    let (head, _) = post(&station, "/api/show", r#"{"flight": 1}"#).await;
    assert!(head.starts_with("HTTP/1.1 204"), "{head}");
    let about = when(&mut early, "show", |show| show["flight"] == 1).await;
    assert_eq!((&about["name"], &about["driver"]), (&"second try".into(), &Json::Null));
    assert_eq!((&about["can_drive"], &about["you_drive"]), (&false.into(), &false.into()));
    assert_eq!(next(&mut early, "now").await["mode"], "replay", "it says that it is not live");

    let mut driver = socket(&station, "/api/show/socket").await;
    say(&mut driver, r#"{"kind": "drive", "wheel": true}"#).await;
    when(&mut driver, "show", |show| show["you_drive"] == true).await;
    say(&mut driver, r#"{"kind": "seek", "t_s": 1795600020.0}"#).await;
    say(&mut driver, r#"{"kind": "play", "speed": 5}"#).await;
    let seen = when(&mut early, "now", |now| now["speed"] == 5).await;
    assert!(seen["t_s"].as_f64().unwrap() >= 1_795_600_020.0);

    // Whoever joins later gets the same, and all of them by the same clock: instant and time of playing fit one line.
    let mut late = viewer(&station).await;
    let joined = next(&mut late, "now").await;
    assert_eq!(joined["speed"], 5);
    let line = |now: &Json| now["t_s"].as_f64().unwrap() - 5.0 * now["played_s"].as_f64().unwrap();
    assert!((line(&joined) - line(&seen)).abs() < 0.5, "{joined}\n{seen}");

    // A viewer's asking moves nothing, nor does crew that has not taken the wheel.
    let mut other = socket(&station, "/api/show/socket").await;
    for passenger in [&mut late, &mut other] {
        say(passenger, r#"{"kind": "play", "speed": 0}"#).await;
        say(passenger, r#"{"kind": "seek", "t_s": 1795600001.0}"#).await;
    }
    say(&mut late, r#"{"kind": "drive", "wheel": true}"#).await;
    say(&mut driver, r#"{"kind": "play", "speed": 2}"#).await;
    let after = when(&mut late, "now", |now| now["speed"] == 2).await;
    assert!(after["t_s"].as_f64().unwrap() >= 1_795_600_020.0);

    // Who drives and goes leaves the wheel to others; the show goes on.
    drop(driver);
    when(&mut late, "show", |show| show["driver"] == Json::Null).await;
    say(&mut other, r#"{"kind": "drive", "wheel": true}"#).await;
    say(&mut other, r#"{"kind": "step", "forward": true}"#).await;
    assert_eq!(when(&mut late, "now", |now| now["speed"] == 0).await["mode"], "replay");
    let (head, _) = post(&station, "/api/show", r#"{"flight": null}"#).await;
    assert!(head.starts_with("HTTP/1.1 204"), "{head}");
    when(&mut late, "show", |show| show["flight"] == Json::Null).await;
    assert!(station.shared.ring.drain().inputs.is_empty(), "a show is no input");
}

#[tokio::test]
async fn a_show_disturbs_nothing_that_is_live() {
    let station = station().await;
    let mut live = socket(&station, "/api/socket").await;
    post(&station, "/api/show", r#"{"flight": 1}"#).await;
    let mut follower = viewer(&station).await;
    when(&mut follower, "show", |show| show["flight"] == 1 && show["in_the_air"] == Json::Null).await;
    station.shared.hub.take(&[
        output(1, 0.0, made::flight(Some(0.5), None)),
        output(2, 1.0, made::estimate(0, 1.0, loftwatch_flight::Phase::Powered)),
    ]);
    let now = when(&mut live, "now", |now| now["bodies"][0]["phase"] == "powered").await;
    assert_eq!(now["mode"], "live");
    when(&mut follower, "show", |show| show["in_the_air"] == 1).await;
    let (head, body) = post(&station, "/api/show", r#"{"flight": 7}"#).await;
    assert!(head.starts_with("HTTP/1.1 404") && body.contains("no flight `7`"), "{head}");
}

/// Writes down what was pressed, as the recorder would.
async fn record(station: &Station) -> usize {
    let pressed = station.shared.ring.drain().inputs;
    let mut store = crate::store::inputs::open(&station.stored.folder.inputs()).await.unwrap();
    crate::store::inputs::write(&mut store, &pressed).await.unwrap();
    pressed.len()
}

async fn remark(station: &Station, body: &str) -> String {
    let path = "/api/flights/1/remark";
    let (answer, ()) = tokio::join!(post(station, path, body), async {
        for _ in 0..20 {
            tokio::time::sleep(Duration::from_millis(10)).await;
            if record(station).await > 0 {
                return;
            }
        }
    });
    format!("{}\n{}", answer.0, answer.1)
}

async fn flights(station: &Station) -> Json {
    serde_json::from_str(&get(station, "/api/flights").await.1).unwrap()
}

#[tokio::test]
async fn name_notes_and_footage_are_kept_with_the_flight() {
    let station = station().await;
    let listed = flights(&station).await;
    assert_eq!(listed[0]["label"], "second try");
    assert!(listed[0]["line"].as_array().unwrap().len() > 20, "{listed}");
    assert!(listed[0]["events"].as_array().unwrap().iter().any(|event| event["event"] == "apogee"));
    assert_eq!(listed[0]["weather"]["temperature_c"], 23.9);
    for body in [
        r#"{"kind": "name", "name": "  Third\u0007 light "}"#,
        r#"{"kind": "notes", "notes": "gusty\n\u202edrogue late"}"#,
        r#"{"kind": "footage", "footage": [{"camera": "tripod", "file": "a.mp4", "rate": [30000, 1001], "moments": [[12.5, 1795600005.0], [42.5, 1795600035.0]]}]}"#,
    ] {
        let answer = remark(&station, body).await;
        assert!(answer.starts_with("HTTP/1.1 204"), "{answer}");
    }
    let listed = flights(&station).await;
    assert_eq!(listed[0]["label"], "Third  light");
    assert_eq!(listed[0]["notes"], "gusty\ndrogue late");
    let (_, detail) = get(&station, "/api/flights/1").await;
    let detail: Json = serde_json::from_str(&detail).unwrap();
    assert_eq!(detail["footage"][0]["moments"][1][0], 42.5);
    assert_eq!(detail["footage"][0]["rate"], serde_json::json!([30000, 1001]));
    for (body, why) in [
        (r#"{"kind": "name", "name": " "}"#, "name is missing"),
        (
            r#"{"kind": "footage", "footage": [{"camera": "", "file": "", "rate": [30, 0], "moments": [[1, 1795600005]]}]}"#,
            "frame rate",
        ),
        (
            r#"{"kind": "footage", "footage": [{"camera": "", "file": "", "rate": [30, 1], "moments": []}]}"#,
            "one moment or two",
        ),
        (
            r#"{"kind": "footage", "footage": [{"camera": "", "file": "", "rate": [30, 1], "moments": [[1, 5]]}]}"#,
            "outside the footage",
        ),
        (
            r#"{"kind": "footage", "footage": [{"camera": "", "file": "", "rate": [30, 1], "moments": [[1, 1795600005], [9, 1795600035]]}]}"#,
            "1 % wrong",
        ),
    ] {
        let (head, answer) = post(&station, "/api/flights/1/remark", body).await;
        assert!(head.starts_with("HTTP/1.1 422") && answer.contains(why), "{body}: {answer}");
    }
}

#[tokio::test]
async fn a_flight_is_deleted_by_its_name_and_can_be_had_back_until_the_next_start() {
    let station = station().await;
    let answer = remark(&station, r#"{"kind": "delete", "label": "Second try"}"#).await;
    assert!(answer.starts_with("HTTP/1.1 422") && answer.contains("which is `second try`"), "{answer}");
    let answer = remark(&station, r#"{"kind": "delete", "label": "second try"}"#).await;
    assert!(answer.starts_with("HTTP/1.1 204"), "{answer}");
    assert_eq!(flights(&station).await[0]["deleted"], true);
    assert!(get(&station, "/api/flights/1").await.0.starts_with("HTTP/1.1 200"), "still to be seen");
    let answer = remark(&station, r#"{"kind": "restore"}"#).await;
    assert!(answer.starts_with("HTTP/1.1 204"), "{answer}");
    assert_eq!(flights(&station).await[0]["deleted"], false);
    remark(&station, r#"{"kind": "delete", "label": "second try"}"#).await;

    // As after a start: it is in no list, and its address says so.
    let again = station_of_store(None, station.stored, i64::MAX).await;
    assert_eq!(flights(&again).await, serde_json::json!([]));
    assert!(get(&again, "/api/flights/1").await.0.starts_with("HTTP/1.1 404"));
    let (head, _) = post(&again, "/api/flights/1/remark", r#"{"kind": "restore"}"#).await;
    assert!(head.starts_with("HTTP/1.1 404"), "{head}");
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM input WHERE kind = 'remark'")
        .fetch_one(&again.shared.inputs_readers)
        .await
        .unwrap();
    assert_eq!(kept, 3, "a deletion is an input like any other");
}
