//! A browser by the words a person would use, from what it says of itself.

/// "Firefox on Windows", as far as the browser lets it be seen; what it says of itself where nothing is known.
pub(super) fn browser_words(said: &str) -> String {
    // The order counts: most browsers also claim to be the ones below them.
    let browsers = [
        ("Edg", "Edge"),
        ("Firefox", "Firefox"),
        ("FxiOS", "Firefox"),
        ("Chrome", "Chrome"),
        ("CriOS", "Chrome"),
        ("Safari", "Safari"),
    ];
    let systems = [
        ("iPad", "an iPad"),
        ("iPhone", "an iPhone"),
        ("Android", "Android"),
        ("CrOS", "ChromeOS"),
        ("Windows", "Windows"),
        ("Macintosh", "a Mac"),
        ("Linux", "Linux"),
    ];
    let find =
        |names: &[(&str, &'static str)]| names.iter().find(|(sign, _)| said.contains(sign)).map(|(_, word)| *word);
    match (find(&browsers), find(&systems)) {
        (Some(browser), Some(system)) => format!("{browser} on {system}"),
        (Some(browser), None) => browser.to_owned(),
        (None, _) if said.trim().is_empty() => "a browser that does not say what it is".to_owned(),
        (None, _) => said.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn browsers_are_named_as_people_name_them() {
        for (said, words) in [
            (
                "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36",
                "Chrome on Linux",
            ),
            (
                "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0",
                "Edge on Windows",
            ),
            (
                "Mozilla/5.0 (iPad; CPU OS 17_5 like Mac OS X) AppleWebKit/605.1.15 Version/17.5 Safari/604.1",
                "Safari on an iPad",
            ),
            ("Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0", "Firefox on Android"),
            ("curl/8.9", "curl/8.9"),
            (" ", "a browser that does not say what it is"),
        ] {
            assert_eq!(browser_words(said), words);
        }
    }
}
