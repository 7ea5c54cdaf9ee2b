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

/// A decoder for notifications, after a link came up; gives what each notification was read as.
fn each(messages: &[&[u8]]) -> Vec<Option<f64>> {
    let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram).in_notifications();
    decoder.reset();
    let mut read = |message: &&[u8]| {
        decoder.handle_bytes(message, Instant::START);
        let reading = decoder.poll_reading();
        assert!(decoder.poll_reading().is_none(), "one notification, one weight");
        reading.map(|r| if let Indicated::Mass(mass) = r.indicated { mass.g() } else { f64::NAN })
    };
    messages.iter().map(&mut read).collect()
}

#[test]
fn text_without_line_ends_is_read_once_three_whole_ones_of_one_shape_have_come() {
    let read = each(&[b"  9.9 g", b" 10.0 g", b"312.4 g", b"312.5 g", b"-12.5 g", b"312.6 g"]);
    assert_eq!(read, [None, None, None, Some(312.5), Some(-12.5), Some(312.6)]);
    // Another shape is looked at anew: it might be the end of a longer one.
    let read = each(&[b"10.1 g", b"10.1 g", b"10.1 g", b"10.1 g", b"9.9 g", b"9.8 g", b"9.7 g", b"9.6 g"]);
    assert_eq!(read, [None, None, None, Some(10.1), None, None, None, Some(9.6)]);
    // A word that tells a state may change.
    let read = each(&[b"moving 1.0 g", b"moving 2.0 g", b"stable 3.0 g", b"stable 3.0 g"]);
    assert_eq!(read.last(), Some(&Some(3.0)));
}

#[test]
fn a_number_that_lost_its_unit_or_a_part_of_itself_is_never_taken_for_a_whole_line() {
    let whole: &[u8] = b"312.4 g";
    let start = [whole; 4];
    let odd: [&[u8]; 9] =
        [b"312.4", b"312.4 ", b"312.", b"2.4 g", b".4 g", b" g", b"31#.4 g", b"31234 g", b"312.4 g312.4 g"];
    for odd in odd {
        let read = each(&[&start[..], &[odd], &[whole; 4]].concat());
        assert_eq!(read[4], None, "{odd:?}");
        assert_eq!(read[8], Some(312.4), "after {odd:?}");
        assert!(read[..8].iter().flatten().all(|g| *g == 312.4), "{read:?}");
    }
    // A scale that cuts each line in two, and numbers without a unit: never.
    let (cut, bare): ([&[u8]; 2], &[u8]) = ([b"31", b"2.4 g"], b"312.4");
    assert!(each(&cut.repeat(30)).iter().all(Option::is_none));
    assert!(each(&[bare; 60]).iter().all(Option::is_none));
}

#[test]
fn where_line_ends_were_seen_lines_are_read_by_them_and_one_made_by_damage_is_forgotten_after_twenty() {
    let pieces: [&[u8]; 3] = [b"312", b".4 g", b"\r\n"];
    let read = each(&pieces.repeat(5));
    // The first may have lost its beginning.
    assert_eq!(read.iter().flatten().count(), 4, "{read:?}");
    let lines: [&[u8]; 2] = [b"312.4 g", b"\r\n"];
    assert_eq!(each(&lines.repeat(30)).iter().flatten().count(), 29);

    let (whole, damaged): (&[u8], &[u8]) = (b"312.4 g", b"31\r.4 g");
    let read = each(&[&[whole; 5][..], &[damaged], &[whole; 30]].concat());
    assert!(read.iter().flatten().all(|g| *g == 312.4), "{read:?}");
    assert_eq!(read[5..26], [None; 21]);
    assert!(read[26..].iter().all(Option::is_some), "{read:?}");
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn of_notifications_cut_anywhere_without_line_ends_only_whole_weights_are_read(
        sent in proptest::collection::vec((0_u32..99_999, 0_u8..6, 1_usize..7), 1..60)
    ) {
        let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram).in_notifications();
        decoder.reset();
        for (tenths, what, at) in sent {
            let text = format!("{:6.1} g", f64::from(tenths) / 10.0);
            let (head, tail) = text.as_bytes().split_at(at);
            // Whole ones, one that lost its end, one that came in two.
            let pieces = match what {
                0 => vec![head],
                1 => vec![head, tail],
                _ => vec![text.as_bytes()],
            };
            for piece in pieces {
                decoder.handle_bytes(piece, Instant::START);
                while let Some(reading) = decoder.poll_reading() {
                    let Indicated::Mass(mass) = reading.indicated else { panic!("{reading:?}") };
                    prop_assert!((mass.g() - f64::from(tenths) / 10.0).abs() < 1e-9, "{} from {:?}", mass.g(), text);
                }
            }
        }
    }

    #[test]
    fn in_notifications_any_split_of_ended_lines_reads_as_the_whole(cuts in proptest::collection::vec(1_usize..9, 1..40)) {
        let lines = "312.4 g\r\n  7.5 g\r\n-0.3 g\r\n312.5 g\r\n".repeat(8);
        let whole = read(lines.as_bytes()).0;
        let mut decoder = LineDecoder::new(LineFormat::Auto, Unit::Gram).in_notifications();
        let (mut rest, mut cuts) = (lines.as_bytes(), cuts.iter().cycle());
        let mut got = Vec::new();
        while !rest.is_empty() {
            let (piece, left) = rest.split_at((*cuts.next().expect("it goes round")).min(rest.len()));
            decoder.handle_bytes(piece, Instant::START);
            got.extend(std::iter::from_fn(|| decoder.poll_reading()));
            rest = left;
        }
        prop_assert_eq!(got, whole);
    }
}
