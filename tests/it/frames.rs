//! Lines of invented scales to readings.

use crate::seeds::seeded;
use proptest::prelude::*;
use tarebell::frame::line::{LineDecoder, LineFormat, Unit};
use tarebell::reading::{Indicated, Reading};
use tarebell::time::Instant;

fn read(bytes: &[u8]) -> (Vec<Reading>, u64) {
    let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram);
    decoder.handle_bytes(bytes, Instant::START);
    let readings = std::iter::from_fn(|| decoder.poll_reading()).collect();
    (readings, decoder.counts().skipped)
}

fn grams(line: &str) -> f64 {
    match read(format!("{line}\r\n").as_bytes()).0.first().map(|r| r.indicated) {
        Some(Indicated::Mass(mass)) => mass.g(),
        other => panic!("'{line}': {other:?}"),
    }
}

/// An invented capture: line ends of every kind, status words, states, and a line that is no weight.
const CAPTURE: &[u8] =
    b"  300.1 g\r\nstable +  300.2 g\nmoving - 0,3kg\r\r\n12.5\rOL\nhello\n--- \n1.0 2.0 g\n+00029.0 g rest\r\n";

#[test]
fn units_have_their_exact_factors() {
    // lb 453.59237 g exactly, oz a sixteenth of it: NIST Handbook 44, Appendix C.
    assert_eq!(grams("1 lb"), 453.592_37);
    assert!((grams("1 oz") - 28.349_523_125).abs() < 1e-12);
    assert!((grams("0.029 kg") - 29.0).abs() < 1e-12);
    assert!((grams("29000 mg") - 29.0).abs() < 1e-12);
}

#[test]
fn point_or_comma_and_blanks_in_the_sign_are_read() {
    assert_eq!(
        (grams("29,5 g"), grams("-  3.5g"), grams("W 5"), grams("stable net + 12.3 g")),
        (29.5, -3.5, 5.0, 12.3)
    );
}

#[test]
fn a_word_before_the_number_is_status_and_never_the_unit() {
    assert_eq!(grams("kg 12"), 12.0);
    assert_eq!(
        read(b"stable 12 g\nmoving 12 g\n12 g\n").0.iter().map(|r| r.stable).collect::<Vec<_>>(),
        [Some(true), Some(false), None]
    );
}

#[test]
fn what_is_no_weight_is_skipped_and_counted() {
    for line in ["12 pcs", "1.0 2.0", "hello", "1.2.3 g", "12 g 5", "1e5 g"] {
        let (readings, skipped) = read(format!("{line}\n").as_bytes());
        assert_eq!((readings.len(), skipped), (0, 1), "{line}");
    }
}

#[test]
fn a_sign_is_never_lost() {
    assert_eq!(grams("\u{2212}5 g"), -5.0);
    for line in ["12.3-", "12.3 -", "12.3 g-", "12.3 g +", "--5 g"] {
        let (readings, skipped) = read(format!("{line}\n").as_bytes());
        assert_eq!((readings.len(), skipped), (0, 1), "{line}");
    }
}

#[test]
fn a_unit_behind_marks_is_read_and_what_is_no_mass_is_skipped() {
    assert_eq!(
        (grams("0.3 (kg)"), grams("0.3 [kg]"), grams("0.3_kg"), grams("12 ?")),
        (300.0, 300.0, 300.0, 12.0)
    );
    for line in ["12.3 %", "12.3 \u{b0}C", "12.3/kg", "12.3 g/l"] {
        let (readings, skipped) = read(format!("{line}\n").as_bytes());
        assert_eq!((readings.len(), skipped), (0, 1), "{line}");
    }
}

#[test]
fn damaged_bytes_skip_the_line_and_frame_marks_at_its_ends_do_not() {
    for line in [&b"\xb300.1 g\n"[..], b"30\xff g\n", b"300.1\0 g\n"] {
        assert_eq!((read(line).0.len(), read(line).1), (0, 1), "{line:?}");
    }
    assert_eq!(grams("\u{2} 300.1 g\u{3}"), 300.1);
}

#[test]
fn after_a_reset_the_line_in_progress_is_dropped_uncounted_and_the_next_is_read() {
    let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram);
    decoder.handle_bytes(b"30", Instant::START);
    decoder.reset();
    decoder.handle_bytes(b"0.1 g\r", Instant::START);
    decoder.handle_bytes(b"\n29.0 g\r\n", Instant::START);
    let readings: Vec<_> = std::iter::from_fn(|| decoder.poll_reading()).collect();
    assert_eq!((readings.len(), decoder.counts().skipped), (1, 0));
    assert!(matches!(readings[0].indicated, Indicated::Mass(mass) if mass.g() == 29.0));
}

#[test]
fn a_line_of_256_bytes_is_read_and_one_of_257_is_skipped() {
    for (length, wanted) in [(256, (1, 0)), (257, (0, 1))] {
        let (readings, skipped) = read(format!("{:>length$}\n", "29.0 g").as_bytes());
        assert_eq!((readings.len(), skipped), wanted, "{length}");
    }
}

#[test]
fn overload_and_underload_are_states() {
    let (readings, _) = read(b"OL\n-----\n");
    let states: Vec<_> = readings.iter().map(|r| r.indicated).collect();
    assert_eq!(states, [Indicated::Overload, Indicated::Underload]);
}

#[test]
fn a_line_without_end_is_capped_and_the_next_one_is_read() {
    let mut bytes = vec![b'7'; 100_000];
    bytes.extend(b"\n29.0 g\n");
    let (readings, skipped) = read(&bytes);
    assert_eq!((readings.len(), skipped), (1, 1));
}

#[test]
fn every_split_point_gives_the_same_readings() {
    let whole = read(CAPTURE);
    assert_eq!((whole.0.len(), whole.1), (7, 2));
    for split in 0..=CAPTURE.len() {
        let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram);
        decoder.handle_bytes(&CAPTURE[..split], Instant::START);
        decoder.handle_bytes(&CAPTURE[split..], Instant::START);
        let readings: Vec<_> = std::iter::from_fn(|| decoder.poll_reading()).collect();
        assert_eq!((readings, decoder.counts().skipped), whole, "split at {split}");
    }
}

#[test]
fn a_pattern_reads_what_auto_cannot() {
    let pattern = regex::Regex::new(r"^N(?<sign>[+-])(?<mass>[0-9.]+)(?<unit>kg|g)/\d+(?<stable>S)?")
        .expect("a pattern");
    let mut decoder = LineDecoder::new(LineFormat::Pattern(pattern), Unit::Gram);
    decoder.handle_bytes(b"N-0.0295kg/77S\n", Instant::START);
    let reading = decoder.poll_reading().expect("a reading");
    let Indicated::Mass(mass) = reading.indicated else { panic!("{reading:?}") };
    assert!((mass.g() + 29.5).abs() < 1e-9);
    assert_eq!(reading.stable, Some(true));
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn any_cutting_into_pieces_gives_the_same_readings(cuts in proptest::collection::vec(1_usize..9, 1..80)) {
        let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram);
        let mut rest = CAPTURE;
        for cut in cuts {
            let (piece, later) = rest.split_at(cut.min(rest.len()));
            decoder.handle_bytes(piece, Instant::START);
            rest = later;
        }
        decoder.handle_bytes(rest, Instant::START);
        let readings: Vec<_> = std::iter::from_fn(|| decoder.poll_reading()).collect();
        prop_assert_eq!((readings, decoder.counts().skipped), read(CAPTURE));
    }

    #[test]
    fn arbitrary_bytes_never_panic_and_give_finite_masses(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        for reading in read(&bytes).0 {
            if let Indicated::Mass(mass) = reading.indicated {
                prop_assert!(mass.g().is_finite());
            }
        }
    }
}
