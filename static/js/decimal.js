// Numbers that a script shows or fills in, with the decimal sign of the studio, which the page says in `data-decimal`. What is typed is read
// with either sign.

/** A number with so many places. */
export const written = (value, places, sign = ".") => value.toFixed(places).replace(".", sign);

/** A number as somebody may have typed it. */
export const read = (text) => Number(String(text).trim().replace(",", "."));
