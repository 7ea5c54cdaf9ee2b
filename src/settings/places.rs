//! Places of a message that two parts can't share: each byte is one thing only, as nothing is masked.

use crate::frame::layout::{Flag, Layout};

/// Bytes from `from` up to, not with, `to`.
struct Place {
    name: &'static str,
    from: usize,
    to: usize,
}

impl Place {
    fn words(&self) -> String {
        if self.to == self.from + 1 {
            format!("{} (byte {})", self.name, self.from)
        } else {
            format!("{} (bytes {} to {})", self.name, self.from, self.to - 1)
        }
    }
}

/// Two parts that stand in the same place: a wrong weight would be read.
pub(super) fn apart(layout: &Layout) -> Result<(), String> {
    let places = places(layout);
    for (i, one) in places.iter().enumerate() {
        if let Some(other) = places[..i].iter().find(|other| one.from < other.to && other.from < one.to) {
            return Err(shared(&other.words(), &one.words()));
        }
    }
    let flags = flags(layout);
    for (i, (name, flag)) in flags.iter().enumerate() {
        let words = format!("{name} (byte {}, bit {})", flag.offset, flag.bit);
        let same = |(_, other): &&(&str, Flag)| (other.offset, other.bit) == (flag.offset, flag.bit);
        if let Some((other, _)) = flags[..i].iter().find(same) {
            return Err(shared(&format!("{other} (byte {}, bit {})", flag.offset, flag.bit), &words));
        }
        let on = places.iter().find(|place| (place.from..place.to).contains(&flag.offset));
        if let Some(place) = on.filter(|place| place.name != "unit" || !varies(layout, *flag)) {
            return Err(shared(&place.words(), &words));
        }
    }
    Ok(())
}

fn shared(one: &str, other: &str) -> String {
    format!("{one} and {other} are in the same place: correct the offset of one, or take it out")
}

fn places(layout: &Layout) -> Vec<Place> {
    let mass = &layout.mass;
    let byte = |name, from: usize| Place { name, from, to: from + 1 };
    let header = Place { name: "header", from: 0, to: layout.header.len() };
    let mut places = vec![Place { name: "mass", from: mass.offset, to: mass.offset + mass.bytes }];
    places.extend(Some(header).filter(|header| header.to > 0));
    places.extend(layout.unit.as_ref().map(|unit| byte("unit", unit.offset)));
    places.extend(layout.checksum.map(|check| byte("checksum", check.offset)));
    places
}

fn flags(layout: &Layout) -> Vec<(&'static str, Flag)> {
    [("negative", layout.negative), ("stable", layout.stable), ("overload", layout.overload)]
        .into_iter()
        .filter_map(|(name, flag)| Some((name, flag?)))
        .collect()
}

/// A bit of the unit byte can be a flag where that byte's values are told both with and without it.
fn varies(layout: &Layout, flag: Flag) -> bool {
    let with = |set: u8| {
        layout.unit.iter().flat_map(|unit| &unit.grams).any(|(code, _)| code >> flag.bit & 1 == set)
    };
    with(0) && with(1)
}
