//! The crowd: whoever reads, slowly or late or while asking, gets whole messages in order and the newest in the end.

use std::time::Duration;

use tokio_tungstenite::WebSocketStream;
use tokio_tungstenite::tungstenite::protocol::Role;

use super::*;
use crate::hub::Newest;
use crate::web::crowd::Crowd;
use crate::web::live::sit;
use crate::web::socket::Line;

/// Messages of each kind.
const MESSAGES: usize = 400;
const PAGES: usize = 24;
/// More than a socket takes at once.
const LONG: usize = 300_000;

/// A message that shows whether it is whole.
fn message(kind: &str, number: usize) -> String {
    let filler = if number.is_multiple_of(7) { LONG } else { 40 * (number % 50) };
    format!("{kind} {number} {filler} {}", "x".repeat(filler))
}

/// Kind and number of a message that is whole.
fn whole(text: &str) -> (String, usize) {
    let parts: Vec<&str> = text.split(' ').collect();
    let [kind, number, filler, rest] = parts[..] else { panic!("not whole: {} bytes", text.len()) };
    assert_eq!(rest.len(), filler.parse::<usize>().unwrap());
    (kind.to_owned(), number.parse().unwrap())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_reads_gets_whole_messages_in_order_and_the_newest_in_the_end() {
    let station = station().await;
    let crowd = Arc::new(Crowd::default());
    let channels: [watch::Sender<Arc<str>>; 3] = std::array::from_fn(|_| watch::Sender::new("".into()));
    let [now, story, picture] = channels.each_ref();
    let newest = Newest { now: now.subscribe(), picture: picture.subscribe(), story: story.subscribe() };
    for (channel, kind) in channels.iter().zip(["now", "story", "picture"]) {
        channel.send_replace(message(kind, 1).into());
    }
    let (posting, ending) = (Arc::clone(&crowd), station.shared.ending.clone());
    tokio::spawn(async move { posting.keep_posted(newest, ending).await });

    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut pages = tokio::task::JoinSet::new();
    for page in 0..PAGES {
        let stream = TcpStream::connect(listener.local_addr().unwrap()).await.unwrap();
        let (own, _) = listener.accept().await.unwrap();
        let (crowd, shared) = (Arc::clone(&crowd), Arc::clone(&station.shared));
        tokio::spawn(async move {
            let mut line = Line::plain(own);
            let seat = line.seat().unwrap();
            let _ = sit(&mut line, &seat, &crowd, &shared).await;
        });
        pages.spawn(read(page, stream));
    }
    for number in 2..=MESSAGES {
        for (channel, kind) in channels.iter().zip(["now", "story", "picture"]) {
            channel.send_replace(message(kind, number).into());
        }
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    let all = async {
        while let Some(page) = pages.join_next().await {
            page.unwrap();
        }
    };
    tokio::time::timeout(Duration::from_mins(1), all).await.expect("everybody gets the newest");
}

/// Reads until the newest of each kind has come. Every second page reads slowly, every third asks meanwhile.
async fn read(page: usize, stream: TcpStream) {
    let mut socket = WebSocketStream::from_raw_socket(stream, Role::Client, None).await;
    let mut last = BTreeMap::new();
    let (mut asked, mut answered) = (0_u8, 0_u8);
    while last.len() < 3 || last.values().any(|number| *number < MESSAGES) || answered < asked {
        if page.is_multiple_of(3) && asked < 50 {
            asked += 1;
            socket.send(Frame::Ping(vec![asked].into())).await.unwrap();
        }
        match socket.next().await.unwrap().unwrap() {
            Frame::Text(text) => {
                let (kind, number) = whole(&text);
                let before = last.insert(kind.clone(), number).unwrap_or(0);
                assert!(number > before, "{kind}: {number} after {before}");
            }
            Frame::Pong(payload) => {
                answered += 1;
                assert_eq!(payload[..], [answered]);
            }
            // The station asks, too.
            _ => {}
        }
        if page % 2 == 1 {
            tokio::time::sleep(Duration::from_millis(page as u64)).await;
        }
    }
}
