//! Files over HTTP: in ranges, by their digests, and how far they are.

use super::*;

#[tokio::test]
async fn a_broken_download_goes_on_where_it_broke() {
    let station = station().await;
    let path = "/api/flights/1/files/estimates.csv?columns=utc,body,height_above_pad";
    let (head, whole) = get(&station, path).await;
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
    let field = |name: &str| {
        head.lines()
            .find_map(|line| line.strip_prefix(&format!("{name}: ")))
            .unwrap_or_else(|| panic!("{name}"))
            .to_owned()
    };
    let tag = field("etag");
    assert_eq!(tag.len(), 66, "a digest in quotes: {tag}");
    assert_eq!(field("content-length"), whole.len().to_string());
    assert_eq!(field("accept-ranges"), "bytes");
    let range = |range: &str, more: &str| {
        let extra = format!("Range: {range}\r\n{more}");
        let station = &station;
        async move { ask(station, "GET", path, &extra, "").await }
    };
    let (head, part) = range("bytes=1000-", &format!("If-Range: {tag}\r\n")).await;
    assert!(head.starts_with("HTTP/1.1 206"), "{head}");
    assert!(
        head.contains(&format!("content-range: bytes 1000-{}/{}", whole.len() - 1, whole.len())),
        "{head}"
    );
    assert_eq!(part, whole[1000..]);
    let (_, part) = range("bytes=0-999", "").await;
    assert_eq!(part, whole[..1000]);
    let (head, again) = range("bytes=1000-", "If-Range: \"another\"\r\n").await;
    assert!(head.starts_with("HTTP/1.1 200") && again == whole, "another file has to come whole: {head}");
    let (head, _) = range(&format!("bytes={}-", whole.len()), "").await;
    assert!(head.starts_with("HTTP/1.1 416"), "{head}");
    let (head, body) = ask(&station, "GET", path, &format!("If-None-Match: {tag}\r\n"), "").await;
    assert!(head.starts_with("HTTP/1.1 304") && body.is_empty(), "{head}");

    // Made again after it was removed, it is the same file.
    std::fs::remove_dir_all(station.shared.data.join("handed-out")).unwrap();
    let (head, again) = get(&station, path).await;
    assert!(head.contains(&format!("etag: {tag}")) && again == whole, "{head}");
}

#[tokio::test]
async fn the_twin_of_the_sheet_may_use_what_it_holds_and_run_nothing() {
    let station = station().await;
    let (head, _) = get(&station, "/api/flights/1/files/sheet.html").await;
    let held: Vec<&str> = head.lines().filter(|line| line.starts_with("content-security-policy")).collect();
    // Its style and its font are inside the page.
    assert!(
        held.len() == 1 && held[0].contains("default-src 'none'; style-src 'unsafe-inline'; font-src data:"),
        "{head}"
    );
    assert!(head.contains("x-content-type-options: nosniff"), "{head}");
}

#[tokio::test]
async fn how_far_a_file_is_can_be_asked() {
    let station = station().await;
    let path = "/api/flights/current/files/readings.parquet";
    let mut state = Json::Null;
    while state["ready"] != true {
        let (head, body) = get(&station, &format!("{path}?progress")).await;
        assert!(head.starts_with("HTTP/1.1 200"), "{head} {body}");
        state = serde_json::from_str(&body).unwrap();
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    assert!(state["done"].as_u64() > Some(100) && state["done"] == state["total"], "{state}");
    assert_eq!(state["digest"].as_str().unwrap().len(), 64);
    let (head, _) = ask(&station, "GET", path, "Range: bytes=0-3\r\n", "").await;
    assert!(head.contains(&format!("/{}", state["bytes"])), "{head}");
}

#[tokio::test]
async fn who_asks_how_far_it_is_hears_that_it_cannot_be() {
    let station = station().await;
    let path = "/api/flights/1/files/events.csv?columns=colour&progress";
    let mut head = String::from("HTTP/1.1 200");
    while head.starts_with("HTTP/1.1 200") {
        head = get(&station, path).await.0;
    }
    assert!(head.starts_with("HTTP/1.1 422"), "{head}");
}

#[tokio::test]
async fn a_day_has_all_its_flights_and_what_is_none_is_told() {
    let station = station().await;
    let at = jiff::Timestamp::from_nanosecond(i128::from(EPOCH_NS) + 5_000_000_000).unwrap();
    let day = at.to_zoned_datetime(jiff::tz::TimeZone::system()).date();
    let (head, body) = get(&station, &format!("/api/days/{day}/files/events.csv")).await;
    assert!(head.contains(&format!("filename=\"{day}-events.csv\"")), "{head}");
    assert!(body.lines().count() > 2 && body.starts_with("flight,"), "{body}");
    for (path, status, word) in [
        ("/api/days/2020-01-01/files/events.csv", "404", "2020-01-01"),
        ("/api/days/yesterday/files/events.csv", "422", "yesterday"),
        ("/api/flights/1/files/events.xls", "404", "events.xls"),
        ("/api/flights/7/files/events.csv", "404", "7"),
        ("/api/flights/1/files/events.csv?columns=colour", "422", "colour"),
        ("/api/flights/1/files/events.csv?rate_hz=5", "422", "estimates"),
        ("/api/flights/1/files/events.csv?colour=red", "422", "colour"),
    ] {
        let (head, body) = get(&station, path).await;
        assert!(head.starts_with(&format!("HTTP/1.1 {status}")), "{path}: {head}");
        let problem: Json = serde_json::from_str(&body).unwrap();
        let all = format!("{problem}");
        assert!(all.contains(word), "{path}: {all}");
    }
}
