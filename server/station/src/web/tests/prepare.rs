//! Before a flight: what everyone may ask, and the form that crew change the setup file by.

use super::*;

const JSON: &str = "Content-Type: application/json\r\n";

const SETUP: &str = "# ours\n[vehicle]\nname = \"Small\"\nliftoff_mass_kg = 2.4  # scale\ndiameter_m = 0.075\n[motor]\n\
    total_impulse_ns = 320\n[[body]]\nname = \"Small\"\n[[body.descent]]\nstate = \"main\"\ncue = \"out\"\nrate_mps = 5\n\
    [[cue]]\nname = \"out\"\nkind = \"chute\"\nwhen = \"after apogee\"\nvalue = 1\nlimit_airspeed_mps = 20\n\
    [[link]]\nname = \"radio\"\nkind = \"serial\"\npath = \"/dev/ttyUSB0\"\n";

async fn with_setup() -> (Station, tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("setup.toml");
    std::fs::write(&file, SETUP).unwrap();
    let station = station_of(Some(&file)).await;
    (station, folder, file)
}

fn status(head: &str) -> &str {
    head.split(' ').nth(1).unwrap_or_default()
}

#[tokio::test]
async fn margins_picture_and_conditions_are_there_for_everyone() {
    let (station, _folder, _) = with_setup().await;
    let (head, body) = get(&station, "/api/prepare").await;
    assert_eq!(status(&head), "200", "{head}\n{body}");
    let told: Json = serde_json::from_str(&body).unwrap();
    let margins = told["margins"].as_array().unwrap();
    assert!(margins.len() > 10, "{body}");
    assert!(told["picture"]["nominal"].as_array().unwrap().len() > 20);
    let cues = told["cues"].as_array().unwrap();
    let chute = cues.iter().position(|cue| !cue["want"].is_null()).unwrap();
    let (head, body) = get(&station, &format!("/api/prepare/plan?cue={chute}&lead_s=1.5&lag_s=0.2")).await;
    let plan: Json = serde_json::from_str(&body).unwrap();
    assert_eq!(status(&head), "200", "{head}\n{body}");
    assert_eq!((plan["want"]["s"].as_f64(), plan["lag_s"][0].as_f64()), (Some(1.5), Some(0.2)));
    let again = get(&station, "/api/prepare").await.1;
    assert_eq!(serde_json::from_str::<Json>(&again).unwrap(), told, "the same setup gives the same figures");
}

#[tokio::test]
async fn nonsense_questions_are_answered_in_words() {
    let (station, _folder, _) = with_setup().await;
    for query in [
        "",
        "cue=99",
        "cue=-1",
        "cue=0&lead_s=nan",
        "cue=0&lead_s=1e9",
        "cue=0&lead_s=1&height_m=20",
        "cue=0&lag_s=-1",
        "cue=0&delay_s=inf",
        "cue=0&height_m=0",
        "cue=a%00b",
    ] {
        let (head, body) = get(&station, &format!("/api/prepare/plan?{query}")).await;
        assert_eq!(status(&head), "422", "{query}: {head}\n{body}");
        let problem: Json = serde_json::from_str(&body).unwrap();
        assert!(problem["error"].as_str().is_some_and(|words| words.len() > 20), "{body}");
    }
}

#[tokio::test]
async fn the_form_changes_one_line_and_refuses_nonsense_at_its_field() {
    let (station, folder, file) = with_setup().await;
    let (_, body) = get(&station, "/api/prepare/figures").await;
    let form: Json = serde_json::from_str(&body).unwrap();
    let figures = form["sections"].as_array().unwrap().iter().flat_map(|s| s["figures"].as_array().unwrap());
    let mass = figures.into_iter().find(|f| f["key"] == "vehicle.liftoff_mass_kg").unwrap();
    assert_eq!((&mass["value"], &mass["source"]), (&"2.4".into(), &"scale".into()));
    let wanted = |key: &str, value: &str, check: bool| {
        let edits = serde_json::json!([{ "kind": "tell", "key": key, "value": value }]);
        serde_json::json!({ "edition": form["edition"], "edits": edits, "check": check, "who": "Mo" })
            .to_string()
    };
    for (key, value, words) in [
        ("vehicle.liftoff_mass_kg", "0", "0.05 to 1000 kg"),
        ("body[Small].descent[1].rate_mps", "-5", "0.5 to 200 m/s"),
        ("weather.wind_mps", "300", "0 to 40 m/s"),
        ("motor.total_impulse_ns", "1", "weigh"),
        ("vehicle.diameter_m", "wide", "a number"),
        ("cue[out].body", "Nobody", "the name of a body"),
        ("cue[out].delay_s", "-1", "0 to 60 s"),
        ("cue[out].kind", "explosion", "separation"),
        ("body[Small].freed_by", "a wish", "the name of a cue"),
        ("body[Small].descent[1].cue", "a wish", "the name of a cue"),
        ("motor.thrust_curve", "/etc/passwd", "a page names no new files"),
        ("link[radio].path", "/etc/passwd", "a figure of the form"),
    ] {
        let (head, body) =
            ask(&station, "POST", "/api/prepare/figures", JSON, &wanted(key, value, false)).await;
        assert_eq!(status(&head), "200", "{head}\n{body}");
        let verdict: Json = serde_json::from_str(&body).unwrap();
        let mistakes = verdict["mistakes"].as_array().unwrap();
        let at = mistakes.iter().find(|mistake| mistake["key"] == key).unwrap_or_else(|| panic!("{body}"));
        assert!(format!("{at}").contains(words), "{at}");
        assert_eq!(std::fs::read_to_string(&file).unwrap(), SETUP, "nothing of it is taken");
    }
    let right = |check| wanted("vehicle.liftoff_mass_kg", "2.65", check);
    let (_, body) = ask(&station, "POST", "/api/prepare/figures", JSON, &right(true)).await;
    assert!(body.contains("vehicle.liftoff_mass_kg"), "{body}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), SETUP, "a check changes nothing");
    let (head, body) = ask(&station, "POST", "/api/prepare/figures", JSON, &right(false)).await;
    assert_eq!(status(&head), "200", "{body}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), SETUP.replace("2.4", "2.65"));
    let (head, _) = ask(&station, "POST", "/api/prepare/figures", JSON, &right(false)).await;
    assert_eq!(status(&head), "409", "made from a text that is no longer there");
    drop(folder);
}

#[tokio::test]
async fn a_vehicle_is_kept_and_taken_and_what_it_replaces_is_kept_first() {
    let (station, _folder, file) = with_setup().await;
    let post =
        async |body: Json| ask(&station, "POST", "/api/prepare/vehicles", JSON, &body.to_string()).await;
    assert_eq!(status(&post(serde_json::json!({ "kind": "keep" })).await.0), "200");
    let list: Json = serde_json::from_str(&get(&station, "/api/prepare/vehicles").await.1).unwrap();
    let id = list[0]["id"].clone();
    assert_eq!(list[0]["name"], "Small");
    std::fs::write(&file, SETUP.replace("2.4  # scale", "3.1").replace("ttyUSB0", "ttyUSB1")).unwrap();
    let form: Json = serde_json::from_str(&get(&station, "/api/prepare/figures").await.1).unwrap();
    let take = serde_json::json!({ "kind": "take", "id": id, "edition": form["edition"] });
    let (head, body) = post(take.clone()).await;
    assert_eq!(status(&head), "200", "{body}");
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains("liftoff_mass_kg = 2.4  # scale") && text.contains("ttyUSB1"), "{text}");
    let list: Json = serde_json::from_str(&get(&station, "/api/prepare/vehicles").await.1).unwrap();
    assert_eq!(list.as_array().unwrap().len(), 2, "the one that it took the place of is kept");
    let (head, _) = post(serde_json::json!({ "kind": "take", "id": "../../etc", "edition": "" })).await;
    assert_eq!(status(&head), "404");
    assert_eq!(status(&post(take).await.0), "409");
}
