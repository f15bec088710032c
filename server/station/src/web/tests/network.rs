use tokio_rustls::TlsConnector;

use super::*;

/// What a client that trusts the station's authority, and nobody else, gets over HTTPS.
async fn trusting(station: &Station, name: &str, request: &str) -> std::io::Result<String> {
    let (head, _) = get(station, "/api/network").await;
    assert!(head.contains("200"), "{head}");
    let tls = station.shared.tls.as_ref().unwrap();
    let mut roots = rustls::RootCertStore::empty();
    roots.add(tls.authority().to_vec().into()).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let stream = TcpStream::connect(station.address).await?;
    let name = rustls::pki_types::ServerName::try_from(name.to_owned()).unwrap();
    let mut stream = TlsConnector::from(Arc::new(config)).connect(name, stream).await?;
    stream.write_all(request.as_bytes()).await?;
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    Ok(String::from_utf8_lossy(&answer).into_owned())
}

fn request(station: &Station, host: &str) -> String {
    format!(
        "GET /api/network HTTP/1.1\r\nHost: {host}:{}\r\nConnection: close\r\n\r\n",
        station.address.port()
    )
}

#[tokio::test]
async fn one_port_speaks_http_and_https_and_a_device_that_trusts_the_authority_is_served() {
    let station = station().await;
    for host in ["127.0.0.1", "localhost", "loftwatch.local"] {
        let answer = trusting(&station, host, &request(&station, host)).await.unwrap();
        assert!(answer.starts_with("HTTP/1.1 200"), "{host}: {answer}");
        assert!(answer.contains("\"secure\":true"), "{answer}");
    }
    let (_, plain) = get(&station, "/api/network").await;
    let plain: Json = serde_json::from_str(&plain).unwrap();
    assert_eq!(plain["secure"], false);
    assert_eq!(plain["https"][0], format!("https://{}", station.address));
    assert_eq!(plain["fingerprint"].as_str().unwrap().len(), 95);
}

#[tokio::test]
async fn its_certificates_are_for_its_own_names_alone() {
    let station = station().await;
    for name in ["bank.example", "192.168.255.254"] {
        assert!(trusting(&station, name, &request(&station, "localhost")).await.is_err(), "{name}");
    }
}

#[tokio::test]
async fn the_authority_is_handed_out_without_its_key() {
    let station = station().await;
    let mut stream = TcpStream::connect(station.address).await.unwrap();
    let request = request(&station, "localhost").replace("/api/network", "/authority.crt");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    let authority = station.shared.tls.as_ref().unwrap().authority();
    assert!(answer.ends_with(authority));
    let head = String::from_utf8_lossy(&answer[..answer.len() - authority.len()]).into_owned();
    assert!(head.contains("application/x-x509-ca-cert") && head.ends_with("\r\n\r\n"), "{head}");
}

#[tokio::test]
async fn a_connection_that_says_nothing_or_nonsense_holds_up_nobody() {
    let station = station().await;
    let _silent = TcpStream::connect(station.address).await.unwrap();
    let mut odd = TcpStream::connect(station.address).await.unwrap();
    odd.write_all(&[22, 3, 1, 0, 5, 1, 2, 3, 4, 5]).await.unwrap();
    let (head, _) = get(&station, "/api/about").await;
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
}

#[tokio::test]
async fn the_map_is_read_in_ranges() {
    let station = station().await;
    let (head, body) = ask(&station, "GET", "/map.pmtiles", "Range: bytes=3-6\r\n", "").await;
    let head = head.to_ascii_lowercase();
    assert!(head.starts_with("http/1.1 206") && head.contains("content-range: bytes 3-6/18"), "{head}");
    assert!(head.contains("content-security-policy"), "{head}");
    assert_eq!(body, "iles");
    let (_, about) = get(&station, "/api/about").await;
    assert!(about.contains("\"map\":true"), "{about}");
}
