//! Every page with sample views, written as files: `cargo run -p web --example gallery -- DIR`, then serve DIR.

use std::{env, fs, io, path::PathBuf};

#[path = "../src/sample.rs"]
mod sample;

use web::pages::{self, Setting, Theme};

fn main() -> io::Result<()> {
    let dir = PathBuf::from(env::args().nth(1).unwrap_or_else(|| "gallery".to_owned()));
    fs::create_dir_all(dir.join("assets"))?;
    for (name, bytes) in web::assets() {
        fs::write(dir.join("assets").join(name), bytes)?;
    }
    let frame = sample::frame();
    for theme in [Theme::Light, Theme::Dark] {
        for (name, page) in sample::pages(&Setting {
            frame: &frame,
            theme,
            said: None,
            here: "/",
        }) {
            fs::write(dir.join(format!("{name}-{}.html", theme.word())), page)?;
        }
    }
    Ok(())
}
