//! How the pages look, as far as a program can judge it.

mod samples;

#[test]
fn every_sample_page_is_made() {
    for (name, html) in samples::all() {
        assert!(html.contains("</html>"), "{name}");
    }
}
