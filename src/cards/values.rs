//! What the fields of a treatment card can hold, each with the word that is kept and the words of a page. Pure.

/// Makes an enum whose words stand in the database, each with the words of a page.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$of:meta])* $variant:ident = $word:literal, $words:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$of])* $variant),+ }

        impl $name {
            /// Every one, in the order pages show them.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word kept in the database and sent by forms.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// The words on a page.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$variant => $words),+ }
            }

            /// The one with this word.
            #[must_use]
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|one| one.word() == word)
            }

            /// As choices of a form.
            pub fn choices() -> impl Iterator<Item = (String, String)> {
                Self::ALL.iter().map(|one| (one.word().to_owned(), one.words().to_owned()))
            }
        }
    };
}

words!(
    /// Which lids are worked on.
    Lids {
        /// The usual.
        Upper = "upper", "upper lids";
        /// Lower ones alone.
        Lower = "lower", "lower lids";
        /// Both.
        Both = "both", "upper and lower lids";
    }
);

impl Lids {
    /// The lids that are counted.
    #[must_use]
    pub const fn sides(self) -> &'static [Side] {
        match self {
            Self::Upper => &[Side::Left, Side::Right],
            Self::Lower => &[Side::LeftLower, Side::RightLower],
            Self::Both => &[Side::Left, Side::Right, Side::LeftLower, Side::RightLower],
        }
    }
}

words!(
    /// One lid of one eye. Left and right are the client's.
    Side {
        /// Left eye, upper lid.
        Left = "left", "left eye";
        /// Right eye, upper lid.
        Right = "right", "right eye";
        /// Left eye, lower lid.
        LeftLower = "left_lower", "left eye, lower lid";
        /// Right eye, lower lid.
        RightLower = "right_lower", "right eye, lower lid";
    }
);

impl Side {
    /// True for both lids of the client's left eye.
    #[must_use]
    pub const fn is_left(self) -> bool {
        matches!(self, Self::Left | Self::LeftLower)
    }

    /// The same lid of the other eye.
    #[must_use]
    pub const fn other_eye(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
            Self::LeftLower => Self::RightLower,
            Self::RightLower => Self::LeftLower,
        }
    }
}

words!(
    /// What is counted: single extensions, or fans as they are placed.
    Lash {
        /// One extension on one natural lash.
        Single = "single", "single ones";
        /// A fan on one natural lash counts as one.
        Fan = "fan", "fans";
    }
);

words!(
    /// What was seen at a fresh drop of adhesive.
    Seen {
        /// Neighbouring lashes held together.
        Stickies = "stickies", "stickies";
        /// Extensions that let go.
        PopOffs = "pop-offs", "pop-offs";
        /// Fans that close when they are dipped.
        FansClosing = "fans closing", "fans closing";
        /// A white haze on the bonds.
        Whitening = "whitening", "whitening";
    }
);

words!(
    /// Who counted at the next visit. Another person or a photo counts better than whoever placed.
    CountedBy {
        /// The artist who placed them.
        Own = "self", "the artist herself";
        /// Somebody else of the studio.
        Another = "another", "another person";
        /// From a photo.
        Photo = "photo", "from a photo";
    }
);

words!(
    /// How aftercare was given.
    Aftercare {
        /// Not given.
        NotGiven = "not given", "not given";
        /// In words.
        Told = "told", "told";
        /// On paper.
        Printed = "printed", "printed and handed over";
        /// On a screen.
        Shown = "shown", "shown";
    }
);

words!(
    /// How she felt while she lay there. Kept sealed.
    Comfort {
        /// Nothing to say.
        Comfortable = "comfortable", "comfortable throughout";
        /// Vapour was felt.
        Stinging = "stinging", "some stinging, gone after airing";
        /// A pause, or a change of position.
        Paused = "paused", "needed a pause";
        /// Ended early.
        Stopped = "stopped", "stopped: pain, swelling or vision";
    }
);
