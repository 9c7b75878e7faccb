//! What every way in shares: the session's cookie, browsers that are known, the two fields of a new passphrase.

use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::{passphrase, rules};
use crate::base::problem::FieldNote;
use crate::base::text;
use crate::store::FormKey;
use crate::store::keys::same;
use crate::web::House;
use crate::web::form::FieldView;
use crate::web::incoming::new_form_key;
use crate::web::visitor::{Visitor, cookie, set_cookie};

pub(super) fn check_passphrase(phrase: &str, again: &str, own_words: &[&str]) -> Option<FieldNote> {
    if let Err(sentence) = passphrase::acceptable(phrase, own_words) {
        return Some(FieldNote::new("passphrase", sentence));
    }
    (phrase != again).then(|| FieldNote::new("again", "This is not the same passphrase. Type both anew."))
}

pub(super) fn new_passphrase_fields() -> [FieldView; 2] {
    let field = |name, label: &str, hint: Option<String>| FieldView {
        name,
        label: label.to_owned(),
        hint,
        autocomplete: "new-password",
        kind: "password",
        ..FieldView::default()
    };
    let hint = format!("At least {} characters. Paste from a password keeper if you have one.", passphrase::MIN_LENGTH);
    [field("passphrase", "Passphrase", Some(hint)), field("again", "The same once more", None)]
}

/// The session's secret for a form that signs in once: a double click gets the same cookie again, not a dead one.
pub(super) fn secret_of_form(house: &House, visitor: &Visitor, key: &FormKey) -> String {
    let form = key.form.as_deref().unwrap_or_default();
    house.store.keys().digest("session of a form", &[visitor.csrf.as_bytes(), key.route.as_bytes(), form.as_bytes()])
}

/// `known` is the name and the hash of the passphrase just chosen, where the browser is to be known from now on.
pub(super) fn signed_in(house: &House, headers: &HeaderMap, secret: &str, known: Option<(&str, &str)>) -> Response {
    let mut answer = Redirect::to(&house.url("/")).into_response();
    let account = known.map(|(name, hash)| {
        let account = house.store.keys().digest("account", &[text::fold(name).as_bytes()]);
        account_as_it_is(house, &account, hash)
    });
    add_cookies(house, headers, secret, account.as_deref(), &mut answer);
    answer
}

/// What a known browser's mark is bound to: the account with its passphrase of now. A passphrase set anew makes every
/// browser a stranger again, also the one that was the reason.
pub(super) fn account_as_it_is(house: &House, account: &str, hash: &str) -> String {
    house.store.keys().digest("account as it is", &[account.as_bytes(), hash.as_bytes()])
}

fn known_cookie(house: &House) -> String {
    format!("{}-known", house.config.cookie_name())
}

/// The mark of this browser for an account it signed in to before; "" for a stranger's browser.
pub(super) fn known_browser(house: &House, headers: &HeaderMap, account: &str) -> String {
    let kept = cookie(headers, &known_cookie(house)).unwrap_or_default();
    kept.split('~')
        .filter_map(|mark| mark.split_once('.'))
        .find(|(nonce, proof)| same(proof, &known_proof(house, account, nonce)))
        .map(|(nonce, _)| nonce.to_owned())
        .unwrap_or_default()
}

fn known_proof(house: &House, account: &str, nonce: &str) -> String {
    house.store.keys().digest("known browser", &[account.as_bytes(), nonce.as_bytes()])
}

pub(super) fn add_cookies(
    house: &House,
    headers: &HeaderMap,
    secret: &str,
    account: Option<&str>,
    answer: &mut Response,
) {
    let lasts = i64::try_from(house.config.session_length.as_secs()).unwrap_or(i64::MAX);
    answer.headers_mut().append(header::SET_COOKIE, set_cookie(house, house.config.cookie_name(), secret, Some(lasts)));
    if let Some(account) = account.filter(|account| known_browser(house, headers, account).is_empty()) {
        let nonce = new_form_key();
        let mark = format!("{nonce}.{}", known_proof(house, account, &nonce));
        let kept = cookie(headers, &known_cookie(house)).unwrap_or_default();
        let list = rules::with_mark(&kept, &mark);
        answer
            .headers_mut()
            .append(header::SET_COOKIE, set_cookie(house, &known_cookie(house), &list, Some(400 * 86_400)));
    }
}
