//! Tables from elsewhere: what is read, what is told as a fault, and how a table is guessed. All rows are invented.

use tarebell::intake::{Column, DateOrder, Intake, Mapping, look};
use tarebell::time::WallTime;

const NOW: WallTime = WallTime::from_unix_us(1_780_000_000_000_000);

fn looked(text: &str) -> Intake {
    look(text, None, NOW).unwrap_or_else(|why| panic!("{why}"))
}

fn faults(intake: &Intake) -> Vec<String> {
    intake.faults.iter().map(|f| format!("{}: {}", f.line, f.says)).collect()
}

#[test]
fn a_table_with_semicolons_decimal_commas_and_days_first_is_guessed() {
    let text = "Day;Glaze;Grams;Target;Low;High\n31.1.2026;Invented ash;29,4;29;27,5;30,5\n13.02.2026;;28,1;29;27,5;30,5\n";
    let intake = looked(text);
    assert_eq!(
        (intake.mapping.between, intake.mapping.comma, intake.mapping.dates),
        (';', true, DateOrder::DayFirst)
    );
    assert_eq!(intake.mapping.columns.get(&Column::Grams).map(String::as_str), Some("Grams"));
    assert_eq!(intake.faults, []);
    let row = &intake.rows[0];
    assert_eq!((row.net_g, row.aim, row.glaze.as_deref()), (29.4, (29.0, 27.5, 30.5), Some("Invented ash")));
    assert_eq!(row.at.map(WallTime::rfc3339).as_deref(), Some("2026-01-31T12:00:00Z"));
    assert_eq!(intake.rows[1].glaze, None);
}

#[test]
fn missing_and_absurd_lines_are_told_one_by_one_and_the_rest_is_read() {
    let text = "piece,grams,target,low,high,date\n1,29.1,29,28,30,2026-01-02\n2,,29,28,30,2026-01-02\n3,heavy,29,28,30,2026-01-02\n\
                4,-3,29,28,30,2026-01-02\n5,29.2,29,30,31,2026-01-02\nsix,29.0,29,28,30,2026-01-02\n7,29.0,29,28,30,2026-13-02\n\
                8,29.0,29,28,30,2036-01-02\n9,29.0\n,,,,,\n10,29.3,29,28,30,\n";
    let intake = looked(text);
    assert_eq!(intake.rows.iter().filter_map(|r| r.piece).collect::<Vec<_>>(), [1, 10]);
    assert_eq!(
        faults(&intake),
        [
            "3: grams: the cell is empty",
            "4: grams: 'heavy' is no number with a point",
            "5: grams: -3 g is no coat",
            "6: 29 g does not lie from 30 to 31 g",
            "7: piece: 'six' is no number of a piece",
            "8: date: '2026-13-02' is no day, year-first",
            "9: date: '2036-01-02' lies in the future",
            "10: no target: no column tells it, and none was given",
        ]
    );
}

#[test]
fn what_pieces_should_have_got_may_be_given_once_for_all() {
    let usual = Mapping {
        usual: Some((29.0, 27.55, 30.45)),
        ..looked("grams,target,low,high\n29,29,28,30\n").mapping
    };
    let only_grams = Mapping { columns: [(Column::Grams, "grams".to_owned())].into(), ..usual.clone() };
    let intake = look("grams\n28.8\n", Some(only_grams), NOW).expect("a table");
    assert_eq!(intake.rows[0].aim, (29.0, 27.55, 30.45));
    // A line's own target takes the usual tolerance as a share.
    let both = [(Column::Grams, "grams".to_owned()), (Column::Target, "target".to_owned())].into();
    let intake =
        look("grams,target\n57,58\n", Some(Mapping { columns: both, ..usual }), NOW).expect("a table");
    let (target, low, high) = intake.rows[0].aim;
    assert!(
        target == 58.0 && (low - 55.1).abs() < 1e-9 && (high - 60.9).abs() < 1e-9,
        "{:?}",
        intake.rows[0].aim
    );
}

#[test]
fn a_table_that_is_none_is_refused_in_words() {
    for (text, said) in [
        ("", "the file is empty"),
        ("hue,size\n1,2\n", "say which column holds the grams: the first line has hue, size"),
    ] {
        assert_eq!(look(text, None, NOW).expect_err(text), said);
    }
    let mapping = Mapping {
        columns: [(Column::Grams, "weight".to_owned())].into(),
        between: ',',
        ..Mapping::default()
    };
    let why = look("grams\n29\n", Some(mapping), NOW).expect_err("another head");
    assert!(why.contains("no column 'weight'"), "{why}");
}

#[test]
fn quotes_byte_order_marks_and_broken_bytes_do_no_harm() {
    let intake = looked(
        "\u{feff}batch,grams,target,low,high\r\n\"Invented, top shelf\",29.1,29,28,30\r\n\"open,29,29,28,30\r\n",
    );
    assert_eq!(intake.rows[0].batch.as_deref(), Some("Invented, top shelf"));
    assert_eq!(intake.faults.len(), 1, "{:?}", faults(&intake));
}

#[test]
fn beside_a_semicolon_or_a_tab_a_comma_with_three_digits_stands_before_the_fraction() {
    let grams = |text: &str| {
        let usual = Mapping { usual: Some((29.0, 27.5, 30.5)), ..looked(text).mapping };
        let intake = look(text, Some(usual), NOW).expect("a table");
        (intake.rows.iter().map(|row| row.net_g).collect::<Vec<_>>(), faults(&intake))
    };
    assert_eq!(grams("grams;date\n29,123;1.2.2025\n"), (vec![29.123], vec![]));
    assert_eq!(grams("grams\tdate\n29,123\t1.2.2025\n"), (vec![29.123], vec![]));
    assert_eq!(grams("grams;date\n29.123;1.2.2025\n"), (vec![29.123], vec![]));
    // A whole number in one column and a point in another.
    let mixed = looked("grams;target;low;high\n29;29;27.5;30.5\n");
    assert_eq!((mixed.mapping.comma, faults(&mixed)), (false, vec![]));
}

#[test]
fn a_weight_that_no_scale_of_this_kind_shows_or_far_from_all_others_is_a_fault_of_its_line() {
    let table = |grams: &[&str]| {
        grams.iter().fold("grams;target;low;high\n".to_owned(), |text, g| text + g + ";29;28;30\n")
    };
    let intake = looked(&table(&["29", "5001", "28.5", "2912", "30"]));
    assert_eq!(intake.rows.iter().map(|row| row.line).collect::<Vec<_>>(), [2, 4, 6]);
    assert_eq!(
        faults(&intake),
        [
            "3: grams: 5001 g is no coat",
            "5: grams: 2912 g is far from all other weights: look at its comma or point",
        ]
    );
    // Cups and bowls in one table are no fault.
    assert_eq!(faults(&looked(&table(&["29", "28.5", "310", "290"]))), Vec::<String>::new());
}

#[test]
fn lines_are_numbered_as_an_editor_numbers_them_whatever_ends_them() {
    let text = "grams,target,low,high\n29,29,28,30\n\nx,29,28,30\n\"29\n\",29,28,30\ny,29,28,30\n";
    for end in ["\n", "\r\n", "\r"] {
        let intake = looked(&text.replace('\n', end));
        let rows: Vec<u64> = intake.rows.iter().map(|row| row.line).collect();
        let wrong: Vec<u64> = intake.faults.iter().map(|fault| fault.line).collect();
        assert_eq!((rows, wrong), (vec![2, 5], vec![4, 7]), "{end:?}");
    }
}
