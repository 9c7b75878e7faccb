//! What each part offers about a client: her file, putting two records together, erasure. A part with a table that names a client stands
//! here.

use std::future::Future;
use std::pin::Pin;

use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::book;
use crate::cards;
use crate::clearance;
use crate::clients::file::FilePart;
use crate::clients::rights::{self, Erasing, Stays};
use crate::store::keys::Keys;
use crate::store::{Db, Tx};

/// The future of one part's work.
type Work<'w, T> = Pin<Box<dyn Future<Output = Result<T, Problem>> + Send + 'w>>;

/// One part's answers.
pub struct Part {
    /// Its name, as in `src/lib.rs`.
    pub name: &'static str,
    /// Its tables that name a client.
    pub tables: &'static [&'static str],
    /// What it keeps of her.
    pub client_file: for<'w> fn(&'w mut Db, &'w Keys, ClientId) -> Work<'w, Vec<FilePart>>,
    /// Puts what it keeps of the first to the second.
    pub client_merge: for<'w> fn(&'w mut Tx, &'w Keys, ClientId, ClientId) -> Work<'w, ()>,
    /// Erases what may go; what stays.
    pub client_erase: for<'w> fn(&'w mut Tx, &'w Keys, ClientId, &'w Erasing) -> Work<'w, Vec<Stays>>,
}

/// Every part that keeps something of a client, in the order of `src/lib.rs`. Erasure goes from the last to the first, since later parts
/// refer to earlier ones.
pub const PARTS: &[Part] = &[CLIENTS, CLEARANCE, BOOK, CARDS];

const CARDS: Part = Part {
    name: "cards",
    tables: cards::TABLES,
    client_file: |db, keys, client| Box::pin(cards::client_file(db, keys, client)),
    client_merge: |tx, keys, from, into| Box::pin(cards::client_merge(tx, keys, from, into)),
    client_erase: |tx, keys, client, erasing| Box::pin(cards::client_erase(tx, keys, client, erasing)),
};

const BOOK: Part = Part {
    name: "book",
    tables: book::TABLES,
    client_file: |db, keys, client| Box::pin(book::client_file(db, keys, client)),
    client_merge: |tx, keys, from, into| Box::pin(book::client_merge(tx, keys, from, into)),
    client_erase: |tx, keys, client, erasing| Box::pin(book::client_erase(tx, keys, client, erasing)),
};

const CLEARANCE: Part = Part {
    name: "clearance",
    tables: clearance::TABLES,
    client_file: |db, keys, client| Box::pin(clearance::client_file(db, keys, client)),
    client_merge: |tx, keys, from, into| Box::pin(clearance::client_merge(tx, keys, from, into)),
    client_erase: |tx, keys, client, erasing| Box::pin(clearance::client_erase(tx, keys, client, erasing)),
};

const CLIENTS: Part = Part {
    name: "clients",
    tables: &[
        "client",
        "client_word",
        "client_artist",
        "client_apart",
        "consultation",
        "consultation_beside",
        "consultation_asked",
        "medical_advice",
        "consent",
        "handed_form",
        "photo",
    ],
    client_file: |db, keys, client| Box::pin(rights::client_file(db, keys, client)),
    client_merge: |tx, keys, from, into| Box::pin(rights::client_merge(tx, keys, from, into)),
    client_erase: |tx, keys, client, erasing| Box::pin(rights::client_erase(tx, keys, client, erasing)),
};

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// Tables that name a client and belong to no part: her key is the database's own, destroyed by its own function; what an erasure
    /// left is privacy's.
    const NOT_OF_A_PART: &[&str] = &["client_key", "erasure_rest"];

    /// Tables of the migrations with a column that refers to a client, or with one named so.
    fn tables_with_a_client() -> BTreeSet<String> {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
        let mut found = BTreeSet::new();
        for file in std::fs::read_dir(folder).unwrap() {
            let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
            let mut table = String::new();
            for line in text.lines() {
                if let Some(name) = line.strip_prefix("create table ") {
                    table = name.trim_end_matches(" (").to_owned();
                }
                let column = line.trim_start().split(' ').next().unwrap_or_default();
                if line.starts_with("  ") && (column == "client" || line.contains("references client (")) {
                    found.insert(table.clone());
                }
            }
        }
        found
    }

    #[test]
    fn every_table_with_a_client_in_it_stands_in_the_list_of_its_part() {
        let listed: BTreeSet<String> =
            PARTS.iter().flat_map(|part| part.tables).chain(NOT_OF_A_PART).map(|name| (*name).to_owned()).collect();
        let found = tables_with_a_client();
        assert!(found.len() >= 9, "only {found:?} were found; are migrations written in another way now?");
        let missing: Vec<_> = found.difference(&listed).collect();
        assert!(missing.is_empty(), "no part answers for {missing:?}");
        let outlived: Vec<_> = listed.difference(&found).collect();
        assert!(outlived.is_empty(), "there is no table {outlived:?} with a client in it");
    }

    #[test]
    fn every_table_is_listed_once() {
        let all: Vec<_> = PARTS.iter().flat_map(|part| part.tables).chain(NOT_OF_A_PART).collect();
        assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), all.len());
    }
}
