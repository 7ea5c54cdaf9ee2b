//! The files in `config/scales`: each parses, and reads the example that it gives.

use std::path::Path;
use tarebell::frame::line::LineDecoder;
use tarebell::frame::{Decoder, MessageDecoder};
use tarebell::reading::Indicated;
use tarebell::settings::{Link, Notifications, Settings};
use tarebell::time::Instant;

/// What stands after `# example what:`.
fn example<'a>(text: &'a str, what: &str) -> Option<&'a str> {
    text.lines().find_map(|line| line.strip_prefix(&format!("# example {what}: ")))
}

/// The bytes of the example.
fn message(text: &str, name: &str) -> Vec<u8> {
    if let Some(quoted) = example(text, "text") {
        let line: toml::Table = format!("line = {quoted}").parse().expect(name);
        return line["line"].as_str().expect(name).as_bytes().to_vec();
    }
    let hex = example(text, "bytes").unwrap_or_else(|| panic!("{name} has no example"));
    hex.split_whitespace().map(|b| u8::from_str_radix(b, 16).expect(name)).collect()
}

#[test]
fn every_shape_of_a_scale_reads_its_own_example() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/scales");
    let mut read = 0;
    for file in std::fs::read_dir(folder).expect("the folder") {
        let path = file.expect("a file").path();
        let name = path.display().to_string();
        let text = std::fs::read_to_string(&path).expect(&name);
        let settings = Settings::parse(&text, &name).unwrap_or_else(|e| panic!("{e}"));
        let mut decoder = match (&settings.link, settings.notifications) {
            (Link::Ble(_), Notifications::Messages(format)) => Decoder::Messages(MessageDecoder::new(format)),
            (Link::Ble(_), Notifications::Text) | (Link::Serial(_), _) => {
                Decoder::Lines(LineDecoder::new(settings.line, settings.unit))
            }
            (Link::None | Link::Simulated, _) => panic!("{name} names no scale"),
        };
        decoder.handle_bytes(&message(&text, &name), Instant::START);
        let reading = decoder.poll_reading().unwrap_or_else(|| panic!("{name}: {:?}", decoder.counts()));
        let wanted: f64 = example(&text, "grams").expect(&name).parse().expect(&name);
        let Indicated::Mass(mass) = reading.indicated else { panic!("{name}: {reading:?}") };
        assert!((mass.g() - wanted).abs() < 1e-9, "{name}: {} g", mass.g());
        read += 1;
    }
    assert!(read >= 6, "{read} files");
}
