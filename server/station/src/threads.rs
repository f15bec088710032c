//! Threads for work with an engine: it computes for milliseconds at a time, which would hold up others, and needs room.

use std::io;
use std::thread::{Builder, JoinHandle};

/// Stack of the threads that hold an engine, bytes. A tracker is large and is moved by value; unoptimised builds keep
/// several copies. Only what is touched takes memory.
pub(crate) const ENGINE_STACK: usize = 64 * 1024 * 1024;

/// Does work on a thread of its own with room for an engine. The work's future is made there, so it may keep to that thread.
pub(crate) fn on_own_thread<T: Send + 'static, Work: Future<Output = T>>(
    name: &str,
    work: impl FnOnce() -> Work + Send + 'static,
) -> io::Result<JoinHandle<T>> {
    let runtime = tokio::runtime::Handle::current();
    Builder::new().name(name.to_owned()).stack_size(ENGINE_STACK).spawn(move || runtime.block_on(work()))
}
