//! Settings: the commented file, the defaults, and what is said of a bad value.

use tarebell::settings::{Link, Settings, SettingsError, loopback};

const FILE: &str = include_str!("../../config/tarebell.toml");

/// The keys of the file, each with the `#` taken off, as TOML.
fn uncommented() -> String {
    FILE.lines().map(|l| l.strip_prefix("# ").filter(|l| is_key(l)).unwrap_or(l).to_owned() + "\n").collect()
}

fn is_key(line: &str) -> bool {
    line.split_once(" = ").is_some_and(|(key, _)| key.chars().all(|c| c.is_ascii_lowercase() || c == '_'))
}

#[test]
fn the_file_as_shipped_changes_nothing() {
    let shipped = Settings::parse(FILE, "config").expect("it parses");
    assert_eq!(format!("{shipped:?}"), format!("{:?}", Settings::default()));
}

#[test]
fn every_key_shown_in_the_file_stands_there_with_its_default() {
    let text = uncommented();
    assert_eq!(text.lines().filter(|l| is_key(l)).count(), 34, "{text}");
    // What is for the air is refused beside a cable, and the other way round.
    let air = |l: &&str| ["address = ", "service = ", "characteristic = "].iter().any(|k| l.starts_with(k));
    let cable = |l: &&str| {
        ["port = ", "baud = ", "framing = ", "ask = ", "ask_every_ms = "].iter().any(|k| l.starts_with(k))
    };
    let kept = |drop: &dyn Fn(&&str) -> bool| -> String {
        text.lines().filter(|l| !drop(l)).map(|l| format!("{l}\n")).collect()
    };
    let in_air = kept(&cable).replace("link = \"serial\"", "link = \"ble\"");
    assert!(matches!(Settings::parse(&in_air, "config").expect("it parses").link, Link::Ble(_)));
    let told = Settings::parse(&kept(&air), "config").expect("it parses");
    let plain = Settings::default();
    let Link::Serial(serial) = &told.link else { panic!("link") };
    assert_eq!((serial.baud, serial.framing.data_bits, serial.framing.stop_bits), (9600, 8, 1));
    assert_eq!(format!("{:?}", told.line), format!("{:?}", plain.line));
    assert_eq!((told.unit, told.listen, &told.pour), (plain.unit, plain.listen, &plain.pour));
    assert_eq!(
        (told.scale.step, told.scale.noise, told.scale.lag),
        (plain.scale.step, plain.scale.noise, plain.scale.lag)
    );
    assert_eq!((&told.scale.id, &told.notifications), (&plain.scale.id, &plain.notifications));
    assert_eq!(told.reminding, plain.reminding);
    // The two keys without a default: the file shows an example.
    assert_eq!((told.capacity.map(|m| m.g()), plain.capacity), (Some(2000.0), None));
    let example = Some("usb".to_owned());
    assert_eq!(told.sound, tarebell::settings::Sound { device: example, ..plain.sound });
}

#[test]
fn every_key_of_the_settings_stands_in_the_file() {
    // Sections, and how many keys each has at least, or the parser no longer lists them.
    for (section, least) in [("scale", 17), ("page", 1), ("pour", 5), ("sound", 5), ("show", 2)] {
        let text = format!("[{section}]\nx = 1\n");
        let error = Settings::parse(&text, "f").expect_err("unknown key").to_string();
        let known = error.split('`').skip(1).step_by(2).filter(|w| *w != "x");
        let mut n = 0;
        for key in known.filter(|k| k.chars().all(|c| c.is_ascii_lowercase() || c == '_')) {
            assert!(FILE.contains(&format!("# {key} = ")), "{key} is not in the file");
            n += 1;
        }
        assert!(n >= least, "[{section}]: {error}");
    }
}

#[test]
fn a_value_of_another_kind_is_refused_with_its_dotted_key_its_line_and_plain_words() {
    let wrong = [
        ("[sound]\nvolume = \"loud\"\n", 2, "sound.volume", "a number, such as `volume = 0.7`"),
        ("[sound]\n\nquiet = 1\n", 3, "sound.quiet", "true or false"),
        ("[sound]\ndevice = 1\n", 2, "sound.device", "text in quotes"),
        ("[scale]\nbaud = 1.5\n", 2, "scale.baud", "a whole number"),
        ("[scale]\nbaud = -1\n", 2, "scale.baud", "a whole number"),
        ("[scale]\nbaud = 99999999999\n", 2, "scale.baud", "a whole number"),
        ("[scale]\nlag_ms = \"x\"\n", 2, "scale.lag_ms", "a whole number"),
        ("[pour]\nmin_piece_g = true\n", 2, "pour.min_piece_g", "a number"),
        ("[page]\nlisten = 8737\n", 2, "page.listen", "text in quotes"),
        ("scale.port = [1]\n", 1, "scale.port", "text in quotes"),
        ("sound = 5\n", 1, "sound", "a table of keys"),
        (
            "[scale]\nlayout = { mass = { offset = \"x\", bytes = 2 } }\n",
            2,
            "scale.layout.mass.offset",
            "a whole number",
        ),
        (
            "[scale]\nlayout = { mass = { offset = 0, bytes = 2 }, stable = { offset = 1.5, bit = 0 } }\n",
            2,
            "scale.layout.stable.offset",
            "a whole number",
        ),
        ("[scale]\nlayout = { mass = 5 }\n", 2, "scale.layout.mass", "a table of keys"),
        (
            "[scale]\nlayout = { mass = { offset = 0, bytes = 2 }, header = 165 }\n",
            2,
            "scale.layout.header",
            "a list",
        ),
    ];
    for (text, line, key, plain) in wrong {
        let said = Settings::parse(text, "f").expect_err("refused").to_string();
        let start = format!("f, line {line}: {key}: ");
        assert!(said.starts_with(&start) && said.contains(&format!("expected {plain}")), "{said}");
        let names = ["f64", "u8", "u32", "u64", "i64", "usize", "struct", "Text", "string", "boolean"];
        assert!(!names.iter().any(|name| said.contains(name)), "{said}");
    }
}

#[test]
fn a_part_written_as_a_list_of_parts_is_refused_with_its_line_and_how_it_is_written() {
    for part in ["scale", "page", "pour", "sound", "show"] {
        let text = format!("# invented\n\n[[{part}]]\n\n[[{part}]]\nx = 1\n");
        let error = Settings::parse(&text, "f").expect_err("a list").to_string();
        assert!(error.starts_with(&format!("f, line 3: {part}: [[{part}]] begins a list")), "{error}");
        assert!(error.ends_with(&format!("write [{part}], once")), "{error}");
    }
    let error = Settings::parse("[[odd]]\nx = 1\n", "f").expect_err("unknown").to_string();
    assert!(error.contains("unknown field `odd`"), "{error}");
}

#[test]
fn a_number_of_hundreds_of_digits_is_refused_in_a_short_line() {
    for (part, key) in [
        ("scale", "step_g"),
        ("scale", "noise_g"),
        ("scale", "capacity_g"),
        ("pour", "min_piece_g"),
        ("sound", "volume"),
    ] {
        for (odd, short) in [("1e308", "1e308"), ("-1e300", "-1e300"), ("1e-300", "1e-300")] {
            let Err(error) = Settings::parse(&format!("[{part}]\n{key} = {odd}\n"), "f") else {
                assert_eq!((key, odd), ("noise_g", "1e-300"), "nothing is no noise");
                continue;
            };
            let said = error.to_string();
            assert!(said.starts_with(&format!("f, line 2: {part}.{key}: {short} is not between ")), "{said}");
            assert!(said.len() < 150, "{said}");
        }
    }
}

#[test]
fn nought_switches_a_reminder_off_and_a_capacity_of_nothing_is_refused() {
    let text = "[pour]\nstir_every_pieces = 0\nstir_every_min = 0\nmeasure_after_h = 0\n";
    let off = Settings::parse(text, "f").expect("it parses").reminding;
    assert_eq!((off.stir_every_pieces, off.stir_every, off.measure_after), (None, None, None));
    let both = "[scale]\ncapacity_g = 30.0\n[pour]\nmin_piece_g = 40.0\n";
    let said = Settings::parse(both, "t.toml").expect_err("no piece fits").to_string();
    assert!(said.contains("line 2: scale.capacity_g: 30 is not above [pour] min_piece_g, 40"), "{said}");
    // The range that is told is the key's own, not that of the computer's numbers.
    for text in ["baud = -1", "lag_ms = -1", "baud = 99999999999999999999"] {
        let said = Settings::parse(&format!("[scale]\n{text}\n"), "t.toml").expect_err(text).to_string();
        assert!(!said.contains("4294967295") && !said.contains("128"), "{said}");
    }
    for text in ["[scale]\ncapacity_g = 0.0\n", "[pour]\nmeasure_after_h = 721\n"] {
        let said = Settings::parse(text, "f").expect_err("refused").to_string();
        assert!(said.contains("is not between"), "{said}");
    }
}

#[test]
fn silence_is_no_volume_and_the_words_say_what_to_use_for_it() {
    let said = Settings::parse("[sound]\nvolume = 0.0\n", "f").expect_err("refused").to_string();
    assert!(said.contains("--no-sound") && said.contains("between 0.05 and 1"), "{said}");
    assert_eq!(Settings::parse("[sound]\nvolume = 0.05\n", "f").expect("the least").sound.volume, 0.05);
}

#[test]
fn the_warning_pips_can_be_left_out() {
    let sound = |text: &str| Settings::parse(text, "f").expect("it parses").sound;
    assert!(sound("").pips && !sound("[sound]\npips = false\n").pips);
    let error = Settings::parse("[sound]\npips = 2\n", "f").expect_err("refused").to_string();
    assert!(error.contains("line 2") && error.contains("pips"), "{error}");
}

#[test]
fn an_unknown_key_is_refused_with_file_line_and_key() {
    let said =
        Settings::parse("[scale]\nbaud = 9600\nbuad = 1\n", "my.toml").expect_err("refused").to_string();
    assert!(said.contains("my.toml") && said.contains("line 3") && said.contains("buad"), "{said}");
}

#[test]
fn a_bad_value_is_refused_with_line_key_and_what_was_expected() {
    let wrong = [
        ("[scale]\nlink = \"serial\"\nport = \"/dev/x\"\nbaud = 5\n", "scale.baud", 4),
        ("[scale]\nlink = \"serial\"\nport = \"/dev/x\"\nframing = \"9X1\"\n", "scale.framing", 4),
        ("[scale]\nlink = \"carrier\"\n", "scale.link", 2),
        ("[scale]\nlink = \"serial\"\n", "scale.port", 2),
        ("[scale]\nunit = \"stone\"\n", "scale.unit", 2),
        ("[scale]\nline = \"([0-9]+\"\n", "scale.line", 2),
        ("[scale]\nline = \"([0-9]+)\"\n", "scale.line", 2),
        ("[scale]\nline = \"(?<mass>[0-9]+)(?<weight>x)\"\n", "scale.line", 2),
        ("[scale]\nbaud = 5\n", "scale.baud", 2),
        ("[scale]\nlink = \"simulated\"\nframing = \"9X1\"\n", "scale.framing", 3),
        ("[scale]\nask_every_ms = 1\n", "scale.ask_every_ms", 2),
        ("[scale]\nlink = \"ble\"\n", "scale.address", 2),
        ("[scale]\nlink = \"ble\"\nname = \" \"\n", "scale.address", 2),
        ("[scale]\nlink = \"ble\"\naddress = \"02:00:00:00:01\"\n", "scale.address", 3),
        ("[scale]\naddress = \"02:00:00:00:00:0g\"\n", "scale.address", 2),
        ("[scale]\nservice = \"weight\"\n", "scale.service", 2),
        ("[scale]\ncharacteristic = \"0x2a9\"\n", "scale.characteristic", 2),
        ("[scale]\nlink = \"serial\"\nport = \"/dev/x\"\nlayout = \"txt\"\n", "scale.layout", 4),
        ("[scale]\nlink = \"serial\"\nport = \"/dev/x\"\nlayout = \"standard\"\n", "scale.layout", 4),
        ("[scale]\nlink = \"simulated\"\nlayout = \"standard\"\n", "scale.layout", 3),
        ("[scale]\nlink = \"replay\"\n", "scale.link", 2),
        ("[scale]\nstep_g = nan\n", "scale.step_g", 2),
        ("[page]\nlisten = \"0.0.0.0:1\"\n", "page.listen", 2),
        ("[pour]\napproach_ms = 1\n", "pour.approach_ms", 2),
        ("[pour]\nguidance = \"beeps\"\n", "pour.guidance", 2),
        ("[sound]\nvolume = 1.5\n", "sound.volume", 2),
        ("[sound]\nvolume = nan\n", "sound.volume", 2),
        ("[sound]\nvolume = 0\n", "sound.volume", 2),
        ("[sound]\nvolume = 0.04\n", "sound.volume", 2),
        ("[sound]\nquiet = true\ndevice = \" \"\n", "sound.device", 3),
        ("[sound]\ngood = true\nquiet = true\n", "sound.quiet", 3),
    ];
    for (text, wanted_key, wanted_line) in wrong {
        match Settings::parse(text, "f") {
            Err(SettingsError::Value { key, line, expected, .. }) => {
                assert_eq!((key, line), (wanted_key, wanted_line), "{text}");
                assert!(expected.len() > 10, "{expected}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
    assert!(
        loopback("127.0.0.1:0").is_ok() && loopback("[::1]:80").is_ok() && loopback("10.0.0.1:80").is_err()
    );
}

#[test]
fn a_scale_in_the_air_is_known_by_address_before_name_before_service() {
    use tarebell::settings::{By, numbered};
    let by = |keys: &str| {
        let link = Settings::parse(&format!("[scale]\nlink = \"ble\"\n{keys}"), "f").unwrap().link;
        let Link::Ble(ble) = link else { panic!("{link:?}") };
        ble
    };
    let all = by("service = \"0x181D\"\nname = \"invented scale\"\naddress = \"02:00:00:00:00:0a\"\n");
    assert_eq!(all.by, By::Address("02:00:00:00:00:0A".to_owned()));
    assert_eq!((all.service, all.characteristic), (Some(numbered(0x181d)), None));
    assert_eq!(
        by("name = \"invented scale\"\nservice = \"181d\"\n").by,
        By::Name("invented scale".to_owned())
    );
    assert_eq!(by("service = \"181d\"\n").by, By::Service(numbered(0x181d)));
    let whole = by("service = \"f3a10000-7c1e-4b6e-9d55-0a0b0c0d0e0f\"\ncharacteristic = \"2a9d\"\n");
    assert_eq!(whole.service.unwrap().to_string(), "f3a10000-7c1e-4b6e-9d55-0a0b0c0d0e0f");
    assert_eq!(whole.characteristic, Some(numbered(0x2a9d)));
    // The standard service says where its weight is.
    assert_eq!(
        by("address = \"02:00:00:00:00:0a\"\nlayout = \"standard\"\n").characteristic,
        whole.characteristic
    );
    let told = by("service = \"181d\"\nlayout = \"standard\"\ncharacteristic = \"2a9d\"\n");
    assert_eq!((told.service, told.characteristic), (Some(numbered(0x181d)), Some(numbered(0x2a9d))));
}

#[test]
fn the_standards_layout_is_refused_for_another_service_or_characteristic_with_its_line() {
    for (key, line) in [
        ("scale.characteristic", "characteristic = \"2a9c\""),
        ("scale.characteristic", "characteristic = \"f3a10001-7c1e-4b6e-9d55-0a0b0c0d0e0f\""),
        ("scale.service", "service = \"181b\""),
    ] {
        let text = format!("[scale]\nlink = \"ble\"\nname = \"x\"\nlayout = \"standard\"\n{line}\n");
        let said = Settings::parse(&text, "f").expect_err(line).to_string();
        assert!(said.contains(key) && said.contains("line 5") && said.contains("take it out"), "{said}");
    }
}

#[test]
fn what_only_a_cable_needs_is_refused_for_a_scale_in_the_air() {
    for (key, line) in [("scale.port", "port = \"/dev/ttyUSB0\""), ("scale.ask", "ask = \"READ\"")] {
        let text = format!("[scale]\nlink = \"ble\"\nname = \"bench\"\n{line}\n");
        let said = Settings::parse(&text, "f").expect_err(line).to_string();
        assert!(said.contains(key) && said.contains("line 4") && said.contains("only for link"), "{said}");
    }
}

#[test]
fn a_key_that_would_do_nothing_is_refused_with_its_line_and_why() {
    let cable = "link = \"serial\"\nport = \"/dev/x\"";
    let air = "link = \"ble\"\nname = \"bench\"";
    let counts = "link = \"ble\"\nlayout = { mass = { offset = 0, bytes = 2 } }\nname = \"bench\"";
    for (link, line, key, at, why) in [
        (cable, "address = \"02:00:00:00:00:01\"", "scale.address", 4, "only for link = \"ble\""),
        (cable, "service = \"181d\"", "scale.service", 4, "only for link = \"ble\""),
        (cable, "characteristic = \"2a9d\"", "scale.characteristic", 4, "only for link = \"ble\""),
        (cable, "ask_every_ms = 100", "scale.ask_every_ms", 4, "without ask"),
        (air, "baud = 9600", "scale.baud", 4, "only for link = \"serial\""),
        (air, "framing = \"8N1\"", "scale.framing", 4, "only for link = \"serial\""),
        (air, "ask_every_ms = 100", "scale.ask_every_ms", 4, "only for link = \"serial\""),
        (counts, "line = \"auto\"", "scale.line", 5, "lines of text"),
        (counts, "unit = \"g\"", "scale.unit", 5, "lines of text"),
    ] {
        let said = Settings::parse(&format!("[scale]\n{link}\n{line}\n"), "f").expect_err(line).to_string();
        assert!(said.starts_with(&format!("f, line {at}: {key}: ")) && said.contains(why), "{said}");
        assert!(Settings::parse(&format!("[scale]\n{link}\n"), "f").is_ok(), "{link}");
    }
    let waits = "[scale]\nlink = \"simulated\"\nbaud = 9600\naddress = \"02:00:00:00:00:01\"\n";
    assert!(Settings::parse(waits, "f").is_ok());
}
