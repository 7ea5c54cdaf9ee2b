//! Binary messages: the standard service byte by byte, and layouts of invented scales.

use crate::seeds::seeded;
use proptest::prelude::*;
use tarebell::frame::layout::{Checksum, ChecksumKind, Count, Endian, Flag, Layout, UnitByte};
use tarebell::frame::standard;
use tarebell::frame::{Decoder, MessageDecoder, MessageFormat};
use tarebell::reading::Indicated;
use tarebell::settings::{Notifications, Settings};
use tarebell::time::Instant;

fn grams(read: tarebell::frame::Read) -> f64 {
    match read {
        Ok((Indicated::Mass(mass), _)) => mass.g(),
        other => panic!("no weight: {other:?}"),
    }
}

/// Bytes of hexadecimal digits.
fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace().map(|b| u8::from_str_radix(b, 16).expect("hex")).collect()
}

/// Worked out by hand from the layout of Weight Measurement, 0x2A9D (Bluetooth SIG, GATT Specification
/// Supplement); 0.01 lb is 4.5359237 g (1959 agreement; NIST Handbook 44, App. C).
const VECTORS: [(&str, f64); 5] = [
    ("00 C8 00", 1000.0),
    ("00 06 00", 30.0),
    ("01 06 00", 27.215_542_2),
    ("06 3A 00 EA 07 0B 19 08 28 16 FF", 290.0),
    ("0E C8 32 E9 07 0C 1F 17 3B 3A 02 D4 00 DB 06", 65_000.0),
];

#[test]
fn measurements_of_the_standard_service_give_the_published_weights() {
    for (hex, wanted_g) in VECTORS {
        let got = grams(standard::read(&bytes(hex)));
        assert!((got - wanted_g).abs() < 1e-6, "{hex}: {got} g");
    }
}

/// Every combination of the four flags, with the fields that the standard gives each.
#[test]
fn every_combination_of_flags_has_its_length_and_every_other_length_is_refused() {
    let fields: [(u8, &[u8]); 3] =
        [(0x02, &[0xEA, 0x07, 11, 25, 8, 40, 22]), (0x04, &[1]), (0x08, &[0xD4, 0, 0xDB, 0x06])];
    for flags in 0..16_u8 {
        let mut whole = vec![flags, 0x06, 0x00];
        for (flag, field) in fields {
            if flags & flag != 0 {
                whole.extend(field);
            }
        }
        let wanted_g = if flags & 1 == 0 { 30.0 } else { 27.215_542_2 };
        assert!((grams(standard::read(&whole)) - wanted_g).abs() < 1e-6, "flags {flags:#04x}");
        for cut in 0..whole.len() {
            assert!(standard::read(&whole[..cut]).is_err(), "flags {flags:#04x}, {cut} bytes");
        }
        let longer = [&whole[..], &[0]].concat();
        assert!(standard::read(&longer).is_err(), "flags {flags:#04x}, one byte more");
        let reserved = [&[flags | 0x10], &whole[1..]].concat();
        assert!(standard::read(&reserved).is_err(), "flags {flags:#04x} and a reserved one");
    }
}

#[test]
fn a_measurement_that_failed_or_was_damaged_is_no_weight() {
    for hex in ["00 FF FF", "01 FF FF", "02 70 36 EA 07", "02 06 00 EA 07 0D 19 08 28 16"] {
        assert!(standard::read(&bytes(hex)).is_err(), "{hex}");
    }
    assert!(standard::read(b"123.4 g\r\n").is_err_and(|why| why.contains("no weight measurement")));
    // The largest weight there is: 65534 counts of 5 g.
    assert!((grams(standard::read(&bytes("00 FE FF"))) - 327_670.0).abs() < 1e-6);
}

#[test]
fn the_feature_of_a_standard_scale_promises_its_step() {
    // Bits 3 to 6 of 0x2A9E: code 7 is 0.005 kg or 0.01 lb, code 0 promises nothing.
    assert_eq!(standard::promised_step_g(0x0000_0039), Some((5.0, 4.535_923_7)));
    assert_eq!(standard::promised_step_g(0x0000_01b9), Some((5.0, 4.535_923_7)));
    assert_eq!(standard::promised_step_g(0x0000_0008).map(|s| s.0), Some(500.0));
    for none in [0, 0x41] {
        assert_eq!(standard::promised_step_g(none), None, "{none:#x}");
    }
}

fn count(offset: usize, bytes: usize, endian: Endian, signed: bool, unit_g: f64) -> Count {
    Count { offset, bytes, endian, signed, unit_g }
}

/// An invented scale: header, status bits, count with a sign bit beside it, unit byte, check byte.
fn invented(kind: ChecksumKind) -> Layout {
    Layout {
        header: vec![0xA5],
        length: Some(7),
        negative: Some(Flag { offset: 1, bit: 4, when: true }),
        stable: Some(Flag { offset: 1, bit: 0, when: true }),
        overload: Some(Flag { offset: 1, bit: 7, when: true }),
        unit: Some(UnitByte { offset: 5, grams: vec![(0, 0.1), (1, 2.834_952_312_5)] }),
        checksum: Some(Checksum { kind, offset: 6, from: 0, to: 6 }),
        ..Layout::of(count(2, 3, Endian::Big, false, 0.1))
    }
}

#[test]
fn a_layout_reads_weight_sign_unit_rest_and_range() {
    let read = |hex: &str| invented(ChecksumKind::Xor).read(&bytes(hex));
    // 0x000122 = 290 tenths of a gram. The last byte is the exclusive or of those before, by hand.
    assert_eq!(grams(read("A5 01 00 01 22 00 87")), 29.0);
    assert_eq!(read("A5 01 00 01 22 00 87").expect("a weight").1, Some(true));
    assert_eq!(grams(read("A5 10 00 01 22 00 96")), -29.0);
    assert!((grams(read("A5 01 00 00 0A 01 AF")) - 28.349_523_125).abs() < 1e-9);
    assert_eq!(read("A5 80 FF FF FF 00 DA"), Ok((Indicated::Overload, Some(false))));
    for (hex, why) in [
        ("A5 01 00 01 22 00 86", "checksum"),
        ("A5 01 00 01 22 02 85", "unit"),
        ("A4 01 00 01 22 00 86", "header"),
        ("A5 01 00 01 22 00", "bytes"),
        ("A5 01 00 01 22 00 87 00", "bytes"),
    ] {
        assert!(read(hex).expect_err(hex).contains(why), "{hex}");
    }
}

/// 0xF4 over the nine digits is the check value of CRC-8/SMBUS in published catalogues of such checks.
#[test]
fn the_cyclic_check_agrees_with_the_published_one() {
    let check = Checksum { kind: ChecksumKind::Crc8, offset: 9, from: 0, to: 9 };
    let layout = Layout { checksum: Some(check), ..Layout::of(count(0, 1, Endian::Little, false, 1.0)) };
    assert!(layout.read(b"123456789\xF4").is_ok());
    assert!(layout.read(b"123456788\xF4").is_err());
}

#[test]
fn damaged_messages_are_counted_shown_and_skipped() {
    let mut decoder = Decoder::Messages(MessageDecoder::new(MessageFormat::Standard));
    for message in ["00 06 00", "00", "00 07 00"] {
        decoder.handle_bytes(&bytes(message), Instant::START);
    }
    assert_eq!((decoder.counts().readings, decoder.counts().skipped), (2, 1));
    let last = decoder.counts().last_skipped.clone().expect("one was skipped");
    assert!(last.text == "00" && last.reason.contains("at least 3"), "{last:?}");
    assert_eq!(std::iter::from_fn(|| decoder.poll_reading()).count(), 2);
}

fn layout_of(toml: &str) -> Result<Notifications, String> {
    Settings::parse(&format!("[scale]\nlayout = {toml}\n"), "f")
        .map(|s| s.notifications)
        .map_err(|e| e.to_string())
}

#[test]
fn the_example_of_the_settings_file_is_a_layout() {
    let file = include_str!("../../config/tarebell.toml");
    let from = file.find("#   { mass").expect("the example");
    let example: String = file[from..].lines().take(3).map(|l| l.trim_start_matches('#').trim()).collect();
    let toml = example.split("(an invented").next().expect("it").trim();
    let Ok(Notifications::Messages(MessageFormat::Layout(layout))) = layout_of(toml) else {
        panic!("{:?}", layout_of(toml))
    };
    assert_eq!((layout.least(), layout.mass.bytes, layout.header.as_slice()), (8, 3, &[0xA5][..]));
}

#[test]
fn a_layout_that_cannot_be_is_refused_with_the_part_that_is_wrong() {
    for (toml, part) in [
        ("{ mass = { offset = 0, bytes = 5 } }", "mass.bytes"),
        ("{ mass = { offset = 513, bytes = 2 } }", "mass.offset"),
        ("{ mass = { offset = 0, bytes = 2, unit_g = 0.0 } }", "mass.unit_g"),
        ("{ mass = { offset = 0, bytes = 2, unit_g = nan } }", "mass.unit_g"),
        ("{ mass = { offset = 0, bytes = 2, order = 1 } }", "order"),
        ("{ stable = { offset = 0, bit = 1 } }", "mass"),
        ("{ mass = { offset = 0, bytes = 2 }, stable = { offset = 0, bit = 8 } }", "stable.bit"),
        ("{ mass = { offset = 0, bytes = 2 }, stable = { offset = 0, bit = 8, when = 2 } }", "stable"),
        ("{ mass = { offset = 0, bytes = 2 }, length = 1 }", "length"),
        (
            "{ mass = { offset = 0, bytes = 2, signed = true }, negative = { offset = 3, bit = 0 } }",
            "negative",
        ),
        ("{ mass = { offset = 0, bytes = 2 }, checksum = { kind = \"sum\", offset = 0 } }", "checksum"),
        (
            "{ mass = { offset = 0, bytes = 2 }, checksum = { kind = \"sum\", offset = 1, to = 3 } }",
            "checksum",
        ),
        ("{ mass = { offset = 0, bytes = 2 }, unit = { offset = 2, grams = { x = 1.0 } } }", "unit.grams"),
        ("{ mass = { offset = 0, bytes = 2 }, unit = { offset = 2, grams = { 300 = 1.0 } } }", "unit.grams"),
        (
            "{ mass = { offset = 0, bytes = 2, endian = \"little\" }, unit = { offset = 2, grams = { 2 = 0.1, 0x02 = 1.0 } } }",
            "twice",
        ),
        ("\"binary\"", "layout"),
        ("3", "layout"),
    ] {
        let said = layout_of(toml).expect_err(toml);
        assert!(said.contains(part) && said.contains("f, line 2: scale.layout"), "{toml}: {said}");
    }
}

#[test]
fn the_step_of_the_standard_service_is_taken_for_the_scales_own() {
    let parse = |more: &str| Settings::parse(&format!("[scale]\nlayout = \"standard\"\n{more}"), "f");
    assert_eq!(parse("").expect("it parses").scale.step.g(), 5.0);
    assert!(parse("step_g = 0.1").is_err());
    assert_eq!(parse("step_g = 10.0").expect("it parses").scale.step.g(), 10.0);
}

#[test]
fn places_that_overlap_are_refused_and_both_are_named() {
    let mass = "mass = { offset = 1, bytes = 2 }";
    for (more, one, other) in [
        ("stable = { offset = 2, bit = 7 }", "mass (bytes 1 to 2)", "stable (byte 2, bit 7)"),
        ("negative = { offset = 2, bit = 7 }", "mass (bytes 1 to 2)", "negative (byte 2, bit 7)"),
        ("header = [1, 2]", "mass (bytes 1 to 2)", "header (bytes 0 to 1)"),
        ("unit = { offset = 1, grams = { 0 = 0.1 } }", "mass (bytes 1 to 2)", "unit (byte 1)"),
        ("checksum = { kind = \"xor\", offset = 2 }", "mass (bytes 1 to 2)", "checksum (byte 2)"),
        ("header = [1], stable = { offset = 0, bit = 0 }", "header (byte 0)", "stable (byte 0, bit 0)"),
        ("header = [1], unit = { offset = 0, grams = { 0 = 0.1 } }", "header (byte 0)", "unit (byte 0)"),
        (
            "checksum = { kind = \"sum\", offset = 3 }, overload = { offset = 3, bit = 0 }",
            "checksum (byte 3)",
            "overload (byte 3, bit 0)",
        ),
        (
            "unit = { offset = 3, grams = { 0 = 0.1, 1 = 1.0 } }, stable = { offset = 3, bit = 7 }",
            "unit (byte 3)",
            "stable (byte 3, bit 7)",
        ),
        (
            "stable = { offset = 0, bit = 1 }, overload = { offset = 0, bit = 1 }",
            "stable (byte 0, bit 1)",
            "overload (byte 0, bit 1)",
        ),
    ] {
        let said = layout_of(&format!("{{ {mass}, {more} }}")).expect_err(more);
        assert!(said.contains(one) && said.contains(other), "{more}: {said}");
    }
    // Bits of one byte, and a bit of the unit byte that its values tell both ways, go together.
    for more in [
        "stable = { offset = 0, bit = 0 }, negative = { offset = 0, bit = 1 }",
        "unit = { offset = 3, grams = { 0 = 0.1, 0x80 = 0.1 } }, stable = { offset = 3, bit = 7 }",
    ] {
        layout_of(&format!("{{ {mass}, {more} }}")).expect(more);
    }
}

#[test]
fn every_place_ends_within_the_longest_message() {
    let flag = |at: usize| {
        format!("{{ mass = {{ offset = 0, bytes = 2 }}, stable = {{ offset = {at}, bit = 0 }} }}")
    };
    let said = layout_of(&flag(512)).expect_err("a byte too far");
    assert!(said.contains("stable.offset") && said.contains("511 is the last"), "{said}");
    assert!(layout_of(&flag(511)).is_ok());
    let mass = |at: usize| layout_of(&format!("{{ mass = {{ offset = {at}, bytes = 2 }} }}"));
    assert!(mass(510).is_ok() && mass(511).expect_err("too far").contains("510 is the last"));
}

#[test]
fn a_step_finer_than_one_count_is_refused_with_the_reason() {
    let counts = |unit_g: f64, more: &str| {
        let layout = format!("layout = {{ mass = {{ offset = 0, bytes = 2, unit_g = {unit_g:?} }} }}");
        Settings::parse(&format!("[scale]\n{layout}\n{more}"), "f").map(|s| s.scale.step.g())
    };
    let said = counts(5.0, "step_g = 0.1").expect_err("too fine").to_string();
    assert!(
        said.contains("line 3: scale.step_g") && said.contains("one count of its layout is 5 g"),
        "{said}"
    );
    assert_eq!((counts(5.0, "").ok(), counts(0.01, "").ok()), (Some(5.0), Some(0.1)));
    assert_eq!((counts(0.1, "step_g = 0.1").ok(), counts(0.1, "step_g = 1.0").ok()), (Some(0.1), Some(1.0)));
    assert!(counts(1000.0, "").expect_err("kilograms").to_string().contains("too coarse"));
    let said =
        Settings::parse("[scale]\nlayout = \"standard\"\nstep_g = 0.1", "f").expect_err("5 g").to_string();
    assert!(said.contains("the standard service counts in 5 g"), "{said}");
}

#[test]
fn a_wrong_word_or_a_missing_part_of_a_layout_is_named_with_what_may_stand_there() {
    for (toml, said_of) in [
        (
            "{ mass = { offset = 0, bytes = 2, endian = \"middle\" } }",
            ["mass.endian: 'middle'", "\"little\" or \"big\""],
        ),
        (
            "{ mass = { offset = 0, bytes = 2, endian = 3 } }",
            ["mass.endian: the whole number 3", "\"little\" or \"big\""],
        ),
        (
            "{ mass = { offset = 0, bytes = 2 }, checksum = { kind = \"md5\", offset = 3 } }",
            ["checksum.kind: 'md5'", "\"sum\", \"xor\" or \"crc8\""],
        ),
        (
            "{ mass = { offset = 0, bytes = 2 }, stable = { offset = 2, bit = \"x\" } }",
            ["stable.bit: ", "from 0 to 7"],
        ),
        (
            "{ mass = { offset = 0, bytes = 2 }, stable = { offset = 2, bit = 0, when = true } }",
            ["stable.when: ", "expected 0 or 1"],
        ),
        (
            "{ mass = { offset = 0, bytes = 2, unit = 1 } }",
            ["layout.mass.unit: is not known", "offset, bytes, endian, signed, unit_g"],
        ),
        ("{ length = 3 }", ["layout.mass: is missing", "`mass = { offset = 0, bytes = 2"]),
        ("{ mass = { offset = 0 } }", ["layout.mass.bytes: is missing", "`bytes = 2`"]),
        (
            "{ mass = { offset = 1, bytes = 2 }, checksum = { kind = \"sum\", offset = 0 } }",
            ["checksum.offset", "say with from and to"],
        ),
        (
            "{ mass = { offset = 0, bytes = 2, unit_g = 0.1 }, unit = { offset = 2, grams = { 0 = 1.0 } } }",
            ["mass.unit_g", "leave one out"],
        ),
    ] {
        let said = layout_of(toml).expect_err(toml);
        assert!(
            said.contains("f, line 2: scale.layout") && said_of.iter().all(|w| said.contains(w)),
            "{toml}: {said}"
        );
    }
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn a_count_of_any_width_and_order_is_read_as_it_was_written(
        value in any::<i32>(), width in 1_usize..=4, big in any::<bool>(), signed in any::<bool>(), at in 0_usize..9,
    ) {
        // The other way round by the standard library: sign-extended to eight bytes, then cut.
        let bits = 8 * width as u32;
        let wanted = if signed {
            i64::from(value) << (64 - bits) >> (64 - bits)
        } else {
            (i64::from(value) as u64 & (u64::MAX >> (64 - bits))) as i64
        };
        let field = if big { wanted.to_be_bytes()[8 - width..].to_vec() } else { wanted.to_le_bytes()[..width].to_vec() };
        let message = [vec![0x55; at], field].concat();
        let endian = if big { Endian::Big } else { Endian::Little };
        let layout = Layout::of(count(at, width, endian, signed, 0.0001));
        let got = grams(layout.read(&message));
        prop_assert!((got - wanted as f64 * 0.0001).abs() < 1e-6, "{} g for {}", got, wanted);
    }

    #[test]
    fn one_flipped_bit_is_never_read_where_a_checksum_stands(bit in 0_usize..56, raw in any::<u16>(), kind in 0..3) {
        let kind = [ChecksumKind::Sum, ChecksumKind::Xor, ChecksumKind::Crc8][kind as usize];
        let layout = invented(kind);
        let [high, low] = raw.to_be_bytes();
        let mut message = vec![0xA5, 0x01, 0, high, low, 0, 0];
        let check = (0..=255_u8).find(|c| { message[6] = *c; layout.read(&message).is_ok() });
        message[6] = check.expect("one of all bytes is right");
        message[bit / 8] ^= 1 << (bit % 8);
        prop_assert!(layout.read(&message).is_err(), "{:02x?}", message);
    }

    #[test]
    fn no_message_panics_and_every_weight_is_finite(message in proptest::collection::vec(any::<u8>(), 0..600)) {
        for read in [standard::read(&message), invented(ChecksumKind::Sum).read(&message)] {
            if let Ok((Indicated::Mass(mass), _)) = read {
                prop_assert!(mass.g().is_finite());
            }
        }
    }
}
