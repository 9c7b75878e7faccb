//! Finding a client by what is typed of her name, number or address: every typed word must begin one of hers.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::alike::{in_plain_letters, words_of};
use super::{Client, store};
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::text::fold;
use crate::store::Db;

/// Typed words beyond these are not looked at.
const MOST_WORDS: usize = 4;

/// The words a client is found by, as bytes in one order on both databases.
pub(super) fn words(name: &str, phone: &str, email: &str) -> Vec<Vec<u8>> {
    let (name, email) = (fold(name), fold(email));
    let digits: String = phone.chars().filter(char::is_ascii_digit).collect();
    let digits = digits.trim_start_matches('0');
    let last = |most: usize| digits[digits.len().saturating_sub(most)..].to_owned();
    let mut words: Vec<String> = words_of(&name).map(str::to_owned).collect();
    // A letter that no accent can be taken from is typed as it is, or as a keyboard without it has it.
    words.extend(words_of(&name).map(in_plain_letters));
    if !email.is_empty() {
        words.push(email.clone());
    }
    if digits.len() >= 4 {
        words.extend([digits.to_owned(), last(8), last(4)]);
    }
    words.sort_unstable();
    words.dedup();
    words.into_iter().map(String::into_bytes).collect()
}

/// What was typed as words: digits in groups are one number, an address is one word.
fn typed_words(typed: &str) -> Vec<String> {
    let folded = fold(typed);
    let mut words: Vec<String> = Vec::new();
    let mut number = String::new();
    for token in folded.split_whitespace() {
        let digits: String = token.chars().filter(char::is_ascii_digit).collect();
        let is_number = !digits.is_empty() && token.chars().all(|c| c.is_ascii_digit() || "+-/().".contains(c));
        if is_number {
            number.push_str(&digits);
        } else if token.contains('@') {
            words.push(token.to_owned());
        } else {
            words.extend(words_of(token).map(str::to_owned));
        }
    }
    let number = number.trim_start_matches('0');
    if !number.is_empty() {
        words.push(number.to_owned());
    }
    // The longest first: it fits the fewest, and the others are only looked up for those.
    words.sort_by_key(|word| std::cmp::Reverse(word.len()));
    words.truncate(MOST_WORDS);
    words
}

/// Clients in use, sorted by name; with `only`, those this artist keeps or looks after. Nothing typed finds nobody.
pub(super) async fn find(
    db: &mut Db,
    typed: &str,
    only: Option<PersonId>,
    most: usize,
) -> Result<Vec<Client>, Problem> {
    let words = typed_words(typed);
    if words.is_empty() {
        return Ok(Vec::new());
    }
    let mut ids = ids_of(db, &words, only, most).await?;
    if let (true, Some(words)) = (ids.is_empty(), without_country(&words)) {
        ids = ids_of(db, &words, only, most).await?;
    }
    let mut clients = store::clients(db, &ids).await?;
    clients.sort_by_key(|client| fold(&client.name));
    Ok(clients)
}

/// The same with a long number by its last digits alone: it may be kept with a country's code and typed without, or the other way round.
/// `None` without such a number.
fn without_country(words: &[String]) -> Option<Vec<String>> {
    const KEPT: usize = 8;
    let is_long = |word: &String| word.len() > KEPT && word.bytes().all(|byte| byte.is_ascii_digit());
    words.iter().any(is_long).then(|| {
        let last = |word: &String| if is_long(word) { word[word.len() - KEPT..].to_owned() } else { word.clone() };
        words.iter().map(last).collect()
    })
}

async fn ids_of(db: &mut Db, words: &[String], only: Option<PersonId>, most: usize) -> Result<Vec<ClientId>, Problem> {
    // A client may be found by several of her words, so a few more are read than are shown.
    let rows_most = i64::try_from(most.saturating_mul(3)).unwrap_or(i64::MAX);
    let rows = match (words, only) {
        // The first letters, typed at the desk: nothing but the index of words.
        ([word], None) => {
            sqlx::query("select client from client_word where word >= $1 and word < $2 order by word, client limit $3")
                .bind(word.clone().into_bytes())
                .bind(beyond(word))
                .bind(rows_most)
                .fetch_all(&mut *db)
                .await?
        }
        _ => all_words(db, words, only, rows_most).await?,
    };
    let mut ids = Vec::new();
    for row in rows {
        let id = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        if !ids.contains(&id) && ids.len() < most {
            ids.push(id);
        }
    }
    Ok(ids)
}

/// Rows whose client has a word for each of those typed.
async fn all_words(
    db: &mut Db,
    words: &[String],
    only: Option<PersonId>,
    rows_most: i64,
) -> Result<Vec<AnyRow>, Problem> {
    let mut query = sqlx::query(
        "select w.client from client_word w
         where w.word >= $1 and w.word < $2
           and (length($3) = 0 or exists (select 1 from client_word o where o.client = w.client and o.word >= $3 and o.word < $4))
           and (length($5) = 0 or exists (select 1 from client_word o where o.client = w.client and o.word >= $5 and o.word < $6))
           and (length($7) = 0 or exists (select 1 from client_word o where o.client = w.client and o.word >= $7 and o.word < $8))
           and ($9 = '' or exists (select 1 from client c where c.id = w.client and c.keeper = $9)
                or exists (select 1 from client_artist a where a.client = w.client and a.person = $9))
         order by w.word, w.client limit $10",
    );
    for place in 0..MOST_WORDS {
        let word = words.get(place).map(String::as_str).unwrap_or_default();
        query = query.bind(word.as_bytes().to_vec()).bind(beyond(word));
    }
    Ok(query.bind(only.map(|id| id.to_string()).unwrap_or_default()).bind(rows_most).fetch_all(db).await?)
}

/// Lies after everything that begins with the word: no byte of UTF-8 is as high.
fn beyond(word: &str) -> Vec<u8> {
    [word.as_bytes(), &[0xff]].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_in_groups_are_one_number_and_an_address_is_one_word() {
        assert_eq!(typed_words("20 30 40"), ["203040"]);
        assert_eq!(typed_words("+45 20-30"), ["452030"]);
        assert_eq!(typed_words("ada@example.org"), ["ada@example.org"]);
        assert_eq!(typed_words("  Lo, ÅDA "), ["ada", "lo"]);
        assert!(typed_words(" .,- ").is_empty());
    }

    #[test]
    fn a_client_is_found_by_the_end_of_her_number() {
        let words = words("Ada Lovell", "+45 20 30 40 50", "Ada@Example.org");
        for word in ["ada", "lovell", "4520304050", "20304050", "4050", "ada@example.org"] {
            assert!(words.contains(&word.as_bytes().to_vec()), "{word}");
        }
    }

    #[test]
    fn a_letter_without_an_accent_to_take_away_is_found_either_way() {
        let words = words("Bjørn Østby", "", "");
        for word in ["bjørn", "bjorn", "østby", "ostby"] {
            assert!(words.contains(&word.as_bytes().to_vec()), "{word}");
        }
        assert_eq!(super::words("Ada Lovell", "", "").len(), 2, "no word twice");
    }

    #[test]
    fn a_long_number_is_looked_for_by_its_last_digits_too() {
        assert_eq!(without_country(&typed_words("07123 456789")), Some(vec!["23456789".to_owned()]));
        assert_eq!(without_country(&typed_words("ada 0045 20304050")).unwrap(), ["20304050", "ada"]);
        assert_eq!(without_country(&typed_words("2030 4050")), None);
        assert_eq!(without_country(&typed_words("longwordofhers")), None);
    }
}
