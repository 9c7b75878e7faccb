//! A chart drawn the way the parts draw theirs, with every class of the stylesheet that a day of air needs.

/// Relative humidity over a day, with a gap, two readings set aside and the last one with its doubt.
pub(crate) fn day() -> String {
    let x = |hour: f64| 34.0 + hour * 13.5;
    let y = |humidity: f64| 210.0 - (humidity - 20.0) * 4.5;
    let mut svg = String::from(
        "<svg viewBox=\"0 0 366 244\" role=\"img\" aria-labelledby=\"ct cd\"><title id=\"ct\">Humidity in Gable over \
         24 hours</title><desc id=\"cd\">It fell below the studio’s band of 35 to 55 at 06:40 and is at 31.</desc>",
    );
    svg += &format!("<rect class=\"band\" x=\"34\" y=\"{}\" width=\"324\" height=\"{}\"/>", y(55.0), 20.0 * 4.5);
    for humidity in [20, 30, 40, 50, 60] {
        let at = y(f64::from(humidity));
        svg += &format!(
            "<path class=\"grid\" d=\"M34 {at}H358\"/><text class=\"q\" x=\"28\" y=\"{}\" text-anchor=\"end\">{humidity}</text>",
            at + 4.5
        );
    }
    for hour in [0, 6, 12, 18, 24] {
        let at = x(f64::from(hour));
        let clock = (hour + 10) % 24;
        svg += &format!(
            "<path class=\"tick\" d=\"M{at} 210v5\"/><text class=\"q\" x=\"{at}\" y=\"230\" text-anchor=\"middle\">{clock:02}</text>"
        );
    }
    svg += &format!("<path class=\"ax\" d=\"M34 {}V210H358\"/>", y(60.0));
    let mut line = String::new();
    for step in 0..=144 {
        let hour = f64::from(step) / 6.0;
        if (9.0..10.5).contains(&hour) {
            continue;
        }
        let fall = (hour - 12.0).max(0.0) * 0.75;
        let humidity = 40.0 + 2.0 * (hour * 1.7).sin() + (hour * 9.0).sin() * 0.5 - fall;
        let pen = if line.is_empty() || (hour - 10.5).abs() < 0.01 { 'M' } else { 'L' };
        line += &format!("{pen}{:.1} {:.1}", x(hour), y(humidity));
    }
    svg += &format!("<path class=\"ln\" d=\"{line}\"/>");
    for hour in [16.0, 16.2] {
        svg += &format!("<rect class=\"set-aside\" x=\"{}\" y=\"24\" width=\"7\" height=\"7\"/>", x(hour) - 3.5);
    }
    svg += &format!(
        "<path class=\"doubt\" d=\"M{0} {1}V{2}M{3} {1}h8M{3} {2}h8\"/><circle class=\"now\" cx=\"{0}\" cy=\"{4}\" r=\"4\"/>",
        x(24.0),
        y(34.0),
        y(28.0),
        x(24.0) - 4.0,
        y(31.0)
    );
    svg += &format!("<text class=\"on-band\" x=\"40\" y=\"{}\">the studio’s band</text>", y(53.0) + 8.0);
    svg.push_str("</svg>");
    svg
}
