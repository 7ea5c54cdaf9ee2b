//! A table with the columns that were agreed on, line by line.

use super::number::{DateOrder, number};
use crate::record::Verdict;
use crate::time::WallTime;
use crate::units::as_told;
use std::collections::BTreeMap;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// What the piece got, g.
    Grams,
    /// What it should have got, g.
    Target,
    /// Least good, g.
    Low,
    /// Greatest good, g.
    High,
    /// Its number.
    Piece,
    /// When it was poured.
    Date,
    /// Its batch.
    Batch,
    /// Its glaze.
    Glaze,
    /// Its form.
    Form,
    /// What the potter calls it.
    Label,
}

impl Column {
    /// Every one.
    pub const ALL: [Self; 10] = [
        Self::Grams,
        Self::Target,
        Self::Low,
        Self::High,
        Self::Piece,
        Self::Date,
        Self::Batch,
        Self::Glaze,
        Self::Form,
        Self::Label,
    ];

    /// The word used in requests.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Grams => "grams",
            Self::Target => "target",
            Self::Low => "low",
            Self::High => "high",
            Self::Piece => "piece",
            Self::Date => "date",
            Self::Batch => "batch",
            Self::Glaze => "glaze",
            Self::Form => "form",
            Self::Label => "label",
        }
    }

    /// Heads under which it is guessed, this program's own table among them.
    const fn heads(self) -> &'static [&'static str] {
        match self {
            Self::Grams => &["net_g", "grams", "net", "weight", "slop_g", "slop", "g", "got"],
            Self::Target => &["target_g", "target", "wanted"],
            Self::Low => &["low_g", "low", "least"],
            Self::High => &["high_g", "high", "most"],
            Self::Piece => &["piece", "number", "no", "nr"],
            Self::Date => &["started_at", "date", "day", "when", "time"],
            Self::Batch => &["batch_name", "batch", "firing", "load"],
            Self::Glaze => &["glaze_name", "glaze"],
            Self::Form => &["form_name", "form", "shape"],
            Self::Label => &["label", "note", "name"],
        }
    }
}

/// How a table is to be read: shown to a person before anything is taken in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mapping {
    /// What stands between cells.
    pub between: char,
    /// Numbers have a comma before their fraction.
    pub comma: bool,
    /// How days are written.
    pub dates: DateOrder,
    /// Which column, by its head, holds what.
    pub columns: BTreeMap<Column, String>,
    /// What pieces should have got where no column tells: target, low, high, g.
    pub usual: Option<(f64, f64, f64)>,
}

/// A piece as a line tells it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The line, from 1; the head is the first.
    pub line: u64,
    /// What it got, g.
    pub net_g: f64,
    /// Target, low, high, g.
    pub aim: (f64, f64, f64),
    /// Its number, where told.
    pub piece: Option<u32>,
    /// When, where told.
    pub at: Option<WallTime>,
    /// Its batch, where told.
    pub batch: Option<String>,
    /// Its glaze, where told.
    pub glaze: Option<String>,
    /// Its form, where told.
    pub form: Option<String>,
    /// Its label, where told.
    pub label: Option<String>,
    /// It does not count: this program's own table says so.
    pub void: bool,
    /// The ware was fired already: this program's own table says so.
    pub fired: bool,
    /// Id of its batch, where the table is this program's own.
    pub own_batch: Option<String>,
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The line, from 1.
    pub line: u64,
    /// What is wrong, and what was expected.
    pub says: String,
}

/// A table as it was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Intake {
    /// Heads, in their order.
    pub heads: Vec<String>,
    /// How it was read.
    pub mapping: Mapping,
    /// Lines that can be taken in.
    pub rows: Vec<Row>,
    /// Lines that can't.
    pub faults: Vec<Fault>,
}

/// Most lines of one table: more are cut into several files.
const MOST_LINES: usize = 50_000;
/// Heavier is no coat, g: above what a bench scale of this kind carries (common practice, no source).
const HEAVIEST_G: f64 = 5_000.0;
/// A weight so many times the next one, or as small a part of it, has lost its comma or point: that makes it ten to a
/// thousand times too much, and the pieces of one studio lie closer (own choice).
const FAR: f64 = 30.0;
/// Fewer weights don't tell which of them is the odd one (own choice).
const ENOUGH: usize = 3;
/// Columns of this program's own table that tell which piece of which batch a line is.
const OWN: [&str; 6] = ["batch", "batch_name", "piece", "started_at", "net_g", "verdict"];

/// A line's number with what the table's reader made of it.
type Read = (u64, Result<csv::StringRecord, csv::Error>);

/// Reads a table; what the mapping leaves open is guessed from the heads and the first lines.
///
/// # Errors
/// What is wrong with the table as a whole.
pub fn look(text: &str, told: Option<Mapping>, now: WallTime) -> Result<Intake, String> {
    let text = text.trim_start_matches('\u{feff}');
    let first = text.lines().find(|line| !line.trim().is_empty()).ok_or("the file is empty")?;
    let guessed = [';', '\t', ','].into_iter().max_by_key(|c| (first.matches(*c).count(), *c == ','));
    let between = told.as_ref().map(|m| m.between).or(guessed).unwrap_or(',');
    let (heads, lines) = table(text, between)?;
    let mapping = told.unwrap_or_else(|| guess(&heads, &lines, between));
    if let Some(head) = mapping.columns.values().find(|head| !heads.contains(head)) {
        return Err(format!("there is no column '{head}': the first line has {}", heads.join(", ")));
    }
    if !mapping.columns.contains_key(&Column::Grams) {
        return Err(format!("say which column holds the grams: the first line has {}", heads.join(", ")));
    }
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for (line, record) in &lines {
        let read = match record {
            Ok(record) if record.iter().all(|cell| cell.trim().is_empty()) => continue,
            Ok(record) => Line { heads: &heads, record, mapping: &mapping, now }.row(*line),
            Err(error) => Err(format!("can't be read: {error}")),
        };
        match read {
            Ok(row) => rows.push(row),
            Err(says) => faults.push(Fault { line: *line, says }),
        }
    }
    if !is_own(&heads, &mapping) {
        let odd = far(&rows);
        rows.retain(|row| odd.iter().all(|fault| fault.line != row.line));
        faults.extend(odd);
        faults.sort_by_key(|fault| fault.line);
    }
    Ok(Intake { heads, mapping, rows, faults })
}

/// It is this program's own table, and read as such.
fn is_own(heads: &[String], mapping: &Mapping) -> bool {
    let read = |column: Column, head: &str| mapping.columns.get(&column).is_some_and(|h| h == head);
    OWN.iter().all(|own| heads.iter().any(|head| head == own))
        && read(Column::Grams, "net_g")
        && read(Column::Piece, "piece")
        && read(Column::Date, "started_at")
}

/// Weights that are far from all others.
fn far(rows: &[Row]) -> Vec<Fault> {
    let mut sorted: Vec<&Row> = rows.iter().collect();
    sorted.sort_by(|a, b| a.net_g.total_cmp(&b.net_g));
    let odd = |(at, row): (usize, &&Row)| {
        let below = at.checked_sub(1).and_then(|n| sorted.get(n)).is_none_or(|r| row.net_g > FAR * r.net_g);
        let above = sorted.get(at + 1).is_none_or(|r| r.net_g > FAR * row.net_g);
        let says =
            format!("grams: {} g is far from all other weights: look at its comma or point", row.net_g);
        (below && above).then_some(Fault { line: row.line, says })
    };
    if sorted.len() < ENOUGH { Vec::new() } else { sorted.iter().enumerate().filter_map(odd).collect() }
}

/// Where a byte stands: its line, from 1. Line ends before it are passed over; they are LF, CR LF or CR.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    fn of(&mut self, byte: usize) -> u64 {
        while let Some(here) = self.bytes.get(self.at) {
            let end = *here == b'\n' || *here == b'\r';
            if self.at >= byte && !end {
                break;
            }
            let whole = *here == b'\n' || (*here == b'\r' && self.bytes.get(self.at + 1) != Some(&b'\n'));
            self.line += u64::from(whole);
            self.at += 1;
        }
        self.line
    }
}

/// Heads and lines.
fn table(text: &str, between: char) -> Result<(Vec<String>, Vec<Read>), String> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(u8::try_from(between).map_err(|_| "cells stand apart by a comma, a semicolon or a tab")?)
        .flexible(true)
        .from_reader(text.as_bytes());
    let heads: Vec<String> = match reader.headers() {
        Ok(heads) => heads.iter().map(|head| head.trim().to_owned()).collect(),
        Err(error) => return Err(format!("the first line can't be read: {error}")),
    };
    let mut lines = Lines { bytes: text.as_bytes(), at: 0, line: 1 };
    let numbered = |record: Result<csv::StringRecord, csv::Error>| {
        let position = match &record {
            Ok(record) => record.position(),
            Err(error) => error.position(),
        };
        let byte = position.map_or(0, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX));
        (lines.of(byte), record)
    };
    let lines: Vec<Read> = reader.records().take(MOST_LINES + 1).map(numbered).collect();
    if lines.len() > MOST_LINES {
        return Err(format!("more than {MOST_LINES} lines: cut the file into several"));
    }
    Ok((heads, lines))
}

/// A mapping by the usual heads; comma and order of days by the first lines.
fn guess(heads: &[String], lines: &[Read], between: char) -> Mapping {
    let find = |column: Column| {
        let named =
            |wanted: &&str| heads.iter().find(|head| head.to_lowercase().replace(' ', "_") == **wanted);
        column.heads().iter().find_map(named).map(|head| (column, head.clone()))
    };
    let columns: BTreeMap<Column, String> = Column::ALL.into_iter().filter_map(find).collect();
    let cells = |column: Column| -> Vec<&str> {
        let at = columns.get(&column).and_then(|head| heads.iter().position(|h| h == head));
        let each = lines.iter().take(50).filter_map(|(_, record)| record.as_ref().ok());
        at.map_or(Vec::new(), |at| each.filter_map(|record| record.get(at)).collect())
    };
    let numbers = [Column::Grams, Column::Target, Column::Low, Column::High].map(cells).concat();
    let all_read = |comma: bool| numbers.iter().filter(|cell| number(cell, comma).is_some()).count();
    // `29,123` can be read both ways: beside a semicolon or a tab a comma stands before the fraction.
    let tie = between != ',' && !numbers.iter().any(|cell| cell.contains('.'));
    let comma = all_read(true) > all_read(false) || (tie && all_read(true) == all_read(false));
    let days =
        |order: DateOrder| cells(Column::Date).iter().filter(|cell| order.read(cell).is_some()).count();
    let dates = DateOrder::ALL.into_iter().rev().max_by_key(|order| days(*order)).unwrap_or_default();
    Mapping { between, comma, dates, columns, usual: None }
}

struct Line<'a> {
    heads: &'a [String],
    record: &'a csv::StringRecord,
    mapping: &'a Mapping,
    now: WallTime,
}

impl Line<'_> {
    fn cell(&self, column: Column) -> Option<&str> {
        let head = self.mapping.columns.get(&column)?;
        let at = self.heads.iter().position(|h| h == head)?;
        self.record.get(at).map(str::trim).filter(|cell| !cell.is_empty())
    }

    fn grams(&self, column: Column) -> Result<Option<f64>, String> {
        let Some(cell) = self.cell(column) else { return Ok(None) };
        let found = number(cell, self.mapping.comma);
        let with = if self.mapping.comma { "comma" } else { "point" };
        let g = found.ok_or_else(|| format!("{}: '{cell}' is no number with a {with}", column.word()))?;
        let fits = g > 0.0 && g <= HEAVIEST_G;
        fits.then_some(Some(g)).ok_or_else(|| format!("{}: {} g is no coat", column.word(), as_told(g)))
    }

    fn aim(&self) -> Result<(f64, f64, f64), String> {
        let (target, low, high) =
            (self.grams(Column::Target)?, self.grams(Column::Low)?, self.grams(Column::High)?);
        let usual = self.mapping.usual.map(|(target, _, _)| target);
        let (usual_low, usual_high) = self.mapping.usual.map(|(_, low, high)| (low, high)).unzip();
        // The usual tolerance goes with a target of the line's own, as a share.
        let target = target.or(usual).ok_or("no target: no column tells it, and none was given")?;
        let share = |end: Option<f64>| end.zip(usual).map(|(end, usual)| target * end / usual);
        let low = low.or(share(usual_low)).ok_or("no least: no column tells it, and none was given")?;
        let high = high.or(share(usual_high)).ok_or("no greatest: no column tells it, and none was given")?;
        let fits = low <= target && target <= high;
        fits.then_some((target, low, high))
            .ok_or_else(|| format!("{target} g does not lie from {low} to {high} g"))
    }

    fn when(&self) -> Result<Option<WallTime>, String> {
        let Some(cell) = self.cell(Column::Date) else { return Ok(None) };
        let order = self.mapping.dates;
        let at = order.read(cell).ok_or_else(|| format!("date: '{cell}' is no day, {}", order.word()))?;
        const DAY_US: i64 = 86_400_000_000;
        let future = at.unix_us() > self.now.unix_us() + DAY_US;
        // Before 1900 nobody weighed with this: it only finds years of two digits.
        let old = at.unix_us() < -70 * 365 * DAY_US;
        if future || old {
            return Err(format!(
                "date: '{cell}' lies {}",
                if future { "in the future" } else { "too long ago" }
            ));
        }
        Ok(Some(at))
    }

    fn row(&self, line: u64) -> Result<Row, String> {
        let net_g = self.grams(Column::Grams)?.ok_or("grams: the cell is empty")?;
        let piece = match self.cell(Column::Piece) {
            None => None,
            Some(cell) => {
                let found = cell.parse::<u32>().ok().filter(|n| (1..=crate::record::MOST_NUMBER).contains(n));
                Some(found.ok_or_else(|| format!("piece: '{cell}' is no number of a piece"))?)
            }
        };
        let name = |column: Column| match self.cell(column) {
            Some(cell) if cell.chars().count() > 80 || cell.chars().any(char::is_control) => {
                Err(format!("{}: write at most 80 characters on one line", column.word()))
            }
            cell => Ok(cell.map(str::to_owned)),
        };
        let own = is_own(self.heads, self.mapping);
        let told = |head: &str| {
            let at = self.heads.iter().position(|h| own && h == head)?;
            self.record.get(at).map(str::trim).filter(|cell| !cell.is_empty())
        };
        let id =
            |cell: &&str| cell.len() <= 64 && cell.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
        Ok(Row {
            void: told("verdict") == Some(Verdict::Void.word()),
            fired: told("fired") == Some("true"),
            own_batch: told("batch").filter(id).map(str::to_owned),
            line,
            net_g,
            aim: self.aim()?,
            piece,
            at: self.when()?,
            batch: name(Column::Batch)?,
            glaze: name(Column::Glaze)?,
            form: name(Column::Form)?,
            label: name(Column::Label)?,
        })
    }
}
