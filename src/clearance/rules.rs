//! The studio's rules of clearance: settings with careful defaults, each with the reason a page shows beside it. Pure but for
//! reading and keeping the settings.
//!
//! No published interval or validity of a patch test before lash extensions was found: waits and validities are rules of
//! makers, insurers and houses (common practice), so each is a setting.

use crate::base::actor::Role;
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR};
use crate::clients::ClientSettings;
use crate::clients::minors::AgeRule;
use crate::store::{Db, Tx, settings};

/// Who may go on although the validity or the largest gap is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MayOverride {
    /// Nobody.
    Nobody,
    /// The owner alone.
    Owner,
    /// The owner and artists.
    OwnerAndArtists,
}

impl MayOverride {
    /// Each, the strictest first.
    pub const ALL: [Self; 3] = [Self::Nobody, Self::Owner, Self::OwnerAndArtists];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Nobody => "nobody",
            Self::Owner => "owner",
            Self::OwnerAndArtists => "artists",
        }
    }

    /// The words on the page.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Nobody => "nobody",
            Self::Owner => "the owner",
            Self::OwnerAndArtists => "the owner and artists",
        }
    }

    /// The one with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|may| may.word() == word)
    }

    /// True when somebody of this role may.
    #[must_use]
    pub const fn allows(self, role: Role) -> bool {
        matches!(
            (self, role),
            (Self::Owner | Self::OwnerAndArtists, Role::Owner) | (Self::OwnerAndArtists, Role::Artist)
        )
    }
}

/// The rules.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules {
    /// A patch test is needed at all.
    pub needed: bool,
    /// Elapsed hours between placing and a reading that counts, 24…240.
    pub wait_hours: u32,
    /// Days (24 elapsed hours each, from placing) after which a test no longer counts, 1…730.
    pub valid_days: u32,
    /// Days since the last treatment after which a new test is needed, 1…730.
    pub largest_gap_days: u32,
    /// Each adhesive needs a test of its own.
    pub on_product: bool,
    /// Each monomer family needs a test of its own; of no consequence while each adhesive does.
    pub on_family: bool,
    /// A change of health needs a new test.
    pub on_health: bool,
    /// An earlier reaction needs a new test, also once a doctor's statement has lifted the hold.
    pub on_reaction: bool,
    /// Liquids and removers need a test as adhesives do.
    pub liquids_too: bool,
    /// Health answers must be there and in date.
    pub answers_needed: bool,
    /// Who may go on although validity or gap is over.
    pub may_override: MayOverride,
    /// Days after a complaint by which a fix at no charge is done, 1…90. It clears and holds nobody.
    pub fix_days: u32,
    /// Where a test with extensions is usually placed here, in words, and how many, 1…40: one tap records both for who walks in.
    pub usual_site: String,
    /// How many.
    pub usual_number: u32,
    /// The studio's ages, set with the clients.
    pub ages: AgeRule,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            needed: true,
            wait_hours: 48,
            valid_days: 180,
            largest_gap_days: 84,
            on_product: true,
            on_family: true,
            on_health: true,
            on_reaction: true,
            liquids_too: false,
            answers_needed: true,
            may_override: MayOverride::Owner,
            fix_days: 7,
            usual_site: "outer corners".to_owned(),
            usual_number: 3,
            ages: AgeRule::default(),
        }
    }
}

/// The limits of a number of the rules: least and most.
pub const WAIT_HOURS: (u32, u32) = (24, 240);
/// Of validity and gap.
pub const DAYS: (u32, u32) = (1, 730);
/// Of how many extensions a test has.
pub const PLACED: (u32, u32) = (1, 40);
/// The most letters of where a test was placed.
pub const SITE_LETTERS: usize = 80;
/// Of the days for a fix.
pub const FIX_DAYS: (u32, u32) = (1, 90);

impl Rules {
    /// The wait in microseconds.
    #[must_use]
    pub const fn wait(&self) -> i64 {
        self.wait_hours as i64 * HOUR
    }

    /// The validity in microseconds.
    #[must_use]
    pub const fn validity(&self) -> i64 {
        self.valid_days as i64 * DAY
    }

    /// The largest gap in microseconds.
    #[must_use]
    pub const fn largest_gap(&self) -> i64 {
        self.largest_gap_days as i64 * DAY
    }

    /// The rules of the house, or the defaults of a new one.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(db: &mut Db) -> Result<Self, Problem> {
        let kept = settings::all(db).await?;
        let number = |name: &str, (least, most): (u32, u32), fresh: u32| {
            kept.get(name).and_then(|text| text.parse::<u32>().ok()).map_or(fresh, |value| value.clamp(least, most))
        };
        let yes = |name: &str, fresh: bool| kept.get(name).map_or(fresh, |text| text == "yes");
        let fresh = Self::default();
        Ok(Self {
            needed: yes("clearance.needed", fresh.needed),
            wait_hours: number("clearance.wait_hours", WAIT_HOURS, fresh.wait_hours),
            valid_days: number("clearance.valid_days", DAYS, fresh.valid_days),
            largest_gap_days: number("clearance.largest_gap_days", DAYS, fresh.largest_gap_days),
            on_product: yes("clearance.on_product", fresh.on_product),
            on_family: yes("clearance.on_family", fresh.on_family),
            on_health: yes("clearance.on_health", fresh.on_health),
            on_reaction: yes("clearance.on_reaction", fresh.on_reaction),
            liquids_too: yes("clearance.liquids_too", fresh.liquids_too),
            answers_needed: yes("clearance.answers_needed", fresh.answers_needed),
            may_override: kept
                .get("clearance.may_override")
                .and_then(|word| MayOverride::from_word(word))
                .unwrap_or(fresh.may_override),
            fix_days: number("clearance.fix_days", FIX_DAYS, fresh.fix_days),
            usual_site: kept.get("clearance.usual_site").cloned().unwrap_or(fresh.usual_site),
            usual_number: number("clearance.usual_number", PLACED, fresh.usual_number),
            ages: ClientSettings::load(db).await?.ages,
        })
    }

    /// Keeps the rules.
    ///
    /// # Errors
    /// When the database refuses it.
    pub async fn keep(&self, tx: &mut Tx) -> Result<(), Problem> {
        for (name, value) in [
            ("clearance.wait_hours", self.wait_hours),
            ("clearance.valid_days", self.valid_days),
            ("clearance.largest_gap_days", self.largest_gap_days),
            ("clearance.fix_days", self.fix_days),
            ("clearance.usual_number", self.usual_number),
        ] {
            settings::set(tx, name, &value.to_string()).await?;
        }
        for (name, value) in [
            ("clearance.needed", self.needed),
            ("clearance.on_product", self.on_product),
            ("clearance.on_family", self.on_family),
            ("clearance.on_health", self.on_health),
            ("clearance.on_reaction", self.on_reaction),
            ("clearance.liquids_too", self.liquids_too),
            ("clearance.answers_needed", self.answers_needed),
        ] {
            settings::set(tx, name, if value { "yes" } else { "no" }).await?;
        }
        settings::set(tx, "clearance.usual_site", &self.usual_site).await?;
        settings::set(tx, "clearance.may_override", self.may_override.word()).await
    }
}

/// A rule in words: its name in the form, its label, and why it is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RuleWords {
    /// The field of the form, and the name of the setting after "clearance.".
    pub field: &'static str,
    /// What the rule says.
    pub label: &'static str,
    /// Why, with the source where there is one.
    pub why: &'static str,
}

/// Every rule with its reason, in the order of the page. Sources: Johansen et al., Contact Dermatitis 2015;73:195 (readings on
/// several days); Asai et al., Contact Dermatitis 2021, doi 10.1111/cod.13700 (first reactions after weeks; families cross-react
/// in part); the rest common practice.
pub const WORDS: [RuleWords; 14] = [
    RuleWords {
        field: "needed",
        label: "A patch test is needed before a treatment with adhesive",
        why: "Insurers and makers commonly ask for one. Without it nothing but the health answers stands before a treatment. Ask the insurer before you switch it off.",
    },
    RuleWords {
        field: "wait_hours",
        label: "Elapsed hours between placing and reading",
        why: "Medical patch tests stay on for two days and are read on day 2, again on day 3 or 4, and about day 7, because one look on day 2 misses late reactions. 48 hours is the first of these and not enough by itself: look again at every visit. The trade’s 24 hours is earlier than any. Counted in elapsed hours, so a change of the clocks makes it neither shorter nor longer.",
    },
    RuleWords {
        field: "valid_days",
        label: "Days a test counts",
        why: "People become sensitive later too: each meeting with an adhesive can be the one. No interval is published; 180 days is common practice, and the insurer may ask for less.",
    },
    RuleWords {
        field: "largest_gap_days",
        label: "Largest gap since the last treatment, days",
        why: "After a long gap much may have changed, and nobody has looked. Common practice, between four weeks and six months.",
    },
    RuleWords {
        field: "on_product",
        label: "A new adhesive needs its own test",
        why: "Another bottle of the same adhesive is the same material; another adhesive is not. Common practice.",
    },
    RuleWords {
        field: "on_family",
        label: "A new monomer family needs its own test",
        why: "Counts where a new adhesive of the same family needs none: families react alike only in part.",
    },
    RuleWords {
        field: "on_health",
        label: "A change of health needs a new test",
        why: "Medicines, pregnancy and skin conditions change how skin answers; some hide a reaction. Common practice.",
    },
    RuleWords {
        field: "on_reaction",
        label: "An earlier reaction needs a new test",
        why: "Once a doctor has written that the client may have this family again, a test placed after the reaction still comes first. It never lifts the hold by itself.",
    },
    RuleWords {
        field: "liquids_too",
        label: "Liquids and removers need a test as well",
        why: "Primers and removers touch lids too. Few houses test them; switch it on where the maker or the insurer asks.",
    },
    RuleWords {
        field: "answers_needed",
        label: "Health answers must be there and in date",
        why: "A patch test cannot see an eye infection or an operation last month. Ask at every visit whether anything has changed.",
    },
    RuleWords {
        field: "may_override",
        label: "Who may go on although a test is past its days or the gap is over",
        why: "Nothing else can be passed over. Name, reason and time are kept, and the insurer may not cover the treatment.",
    },
    RuleWords {
        field: "usual_site",
        label: "Where a test with extensions is usually placed",
        why: "For somebody who walks in one button says so, with the number below; whoever placed hers otherwise types how. The maker’s instructions come first.",
    },
    RuleWords {
        field: "usual_number",
        label: "How many extensions it usually has",
        why: "Few, so that little adhesive is met; enough that something can be seen. No number is published.",
    },
    RuleWords {
        field: "fix_days",
        label: "Days after a complaint by which a fix at no charge is done",
        why: "Proposed as the last day where a fix is decided; another can be typed there. Houses promise from two days to a week. It clears and holds nobody.",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_house_begins_with_the_careful_rules() {
        let rules = Rules::default();
        assert_eq!((rules.wait(), rules.validity()), (48 * HOUR, 180 * DAY));
        assert!(rules.needed && rules.on_product && rules.on_family && rules.on_health && rules.on_reaction);
        assert_eq!((rules.ages.refused_below, rules.ages.guardian_below), (16, 18));
        assert_eq!(rules.may_override, MayOverride::Owner);
    }

    #[test]
    fn only_those_named_may_go_on_and_never_the_desk() {
        for (may, owner, artist) in [
            (MayOverride::Nobody, false, false),
            (MayOverride::Owner, true, false),
            (MayOverride::OwnerAndArtists, true, true),
        ] {
            assert_eq!((may.allows(Role::Owner), may.allows(Role::Artist)), (owner, artist));
            assert!(!may.allows(Role::Desk) && !may.allows(Role::Accountant));
            assert_eq!(MayOverride::from_word(may.word()), Some(may));
        }
    }

    #[test]
    fn every_rule_has_its_reason() {
        for words in WORDS {
            assert!(words.why.ends_with('.') && words.why.len() > 40, "{}", words.field);
        }
    }
}
