//! Embeds the built pages and watches the store's schema. It never runs the pages' build: that is its own step.

use std::path::Path;

fn main() {
    println!("cargo::rerun-if-changed=../../migrations");
    println!("cargo::rerun-if-changed=../../web/dist");
    let built = Path::new("../../web/dist");
    if built.join("index.html").is_file() {
        memory_serve::load_directory(built);
    } else if std::env::var("PROFILE").is_ok_and(|profile| profile == "debug") {
        memory_serve::load_directory("placeholder");
    } else {
        println!(
            "cargo::error=The pages are not built: `web/dist` is missing. Build them first with \
             `npm ci && npm run build` in the folder `web` (Node 20 or newer), or use `cargo demo`, which does both."
        );
    }
}
