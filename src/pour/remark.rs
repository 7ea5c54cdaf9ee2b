//! Remarks: what is worth knowing once a piece is done, and asks nothing of the hand that pours.

/// What a `note` is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remark {
    /// Something is left on the bare pan.
    Wipe,
    /// The bare piece weighs unlike the others of this batch.
    OtherWare,
    /// The last record was voided by the spare weight.
    Voided,
    /// The bucket wants stirring.
    Stir,
    /// The bucket was measured long ago.
    Measure,
    /// The scale is due to be checked against a reference mass.
    Check,
    /// What stands on the pan is the jug, and no piece.
    Jug,
    /// All pieces that were foreseen are poured; more may be.
    Full,
    /// A record is not called good: nobody saw what its piece left on the pan, or whether it got slop before its `ready`.
    Unsure,
}

impl Remark {
    /// Every one.
    pub const ALL: [Self; 9] = [
        Self::Wipe,
        Self::OtherWare,
        Self::Voided,
        Self::Stir,
        Self::Measure,
        Self::Check,
        Self::Jug,
        Self::Full,
        Self::Unsure,
    ];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Wipe => "wipe",
            Self::OtherWare => "other-ware",
            Self::Voided => "voided",
            Self::Stir => "stir",
            Self::Measure => "measure",
            Self::Check => "check",
            Self::Jug => "jug",
            Self::Full => "full",
            Self::Unsure => "unsure",
        }
    }
}
