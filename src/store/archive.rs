//! Copies of the database in one file: SQLite's own copy, or our portable lines (one JSON object a row) for PostgreSQL.
//! Written under a working name, checked, synced, then given its own name: a name without `.part` is a whole file.

use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::keys::private_file;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Map, Value, json};
use sqlx::AnyConnection;
use sqlx::any::{AnyRow, AnyTypeInfoKind};
use sqlx::{AssertSqlSafe, Column, Connection, Row, TypeInfo, ValueRef};

/// `VACUUM INTO`, then an integrity check of the copy.
pub(super) async fn sqlite_copy(db: &mut AnyConnection, to: &Path) -> Result<PathBuf, String> {
    let part = to.with_extension("db.part");
    let _gone = std::fs::remove_file(&part);
    let text = part.to_str().ok_or("the backup folder's name is not text")?;
    sqlx::query("vacuum into $1").bind(text).execute(&mut *db).await.map_err(|cause| cause.to_string())?;
    let url = super::open::sqlite_url(&part, "ro");
    let mut copy = AnyConnection::connect(&url).await.map_err(|cause| cause.to_string())?;
    let verdict: String =
        sqlx::query("pragma integrity_check").fetch_one(&mut copy).await.map_err(|cause| cause.to_string())?.get(0);
    copy.close().await.map_err(|cause| cause.to_string())?;
    if verdict != "ok" {
        return Err(format!("the copy did not pass its check: {verdict}"));
    }
    finish(&part, to).map_err(|cause| cause.to_string())
}

/// Every row of every table as lines: first the table, its columns and its number of rows, then the rows.
pub(super) async fn lines(db: &mut AnyConnection, to: &Path) -> Result<PathBuf, String> {
    let part = to.with_extension("jsonl.part");
    let tell = |cause: &dyn std::fmt::Display| cause.to_string();
    let mut out = {
        let _gone = std::fs::remove_file(&part);
        BufWriter::new(private_file(&part).map_err(|cause| tell(&cause))?)
    };
    let tables = sqlx::query(
        "select cast(table_name as text) from information_schema.tables
         where table_schema = current_schema() and table_type = 'BASE TABLE' order by 1",
    )
    .fetch_all(&mut *db)
    .await
    .map_err(|cause| tell(&cause))?;
    for table in tables {
        let table: String = table.get(0);
        if table == "_sqlx_migrations" {
            // Its columns are the migration library's own types; the schema number stands in the file's name.
            continue;
        }
        // The name comes from the database's own catalogue and is quoted.
        let text = format!("select * from \"{}\"", table.replace('"', "\"\""));
        let rows = sqlx::query(AssertSqlSafe(text)).fetch_all(&mut *db).await.map_err(|cause| tell(&cause))?;
        writeln!(out, "{}", json!({ "table": table, "rows": rows.len() })).map_err(|cause| tell(&cause))?;
        for row in &rows {
            writeln!(out, "{}", row_as_json(row)?).map_err(|cause| tell(&cause))?;
        }
    }
    writeln!(out, "{}", json!({ "end": true })).map_err(|cause| tell(&cause))?;
    out.into_inner().map_err(|cause| tell(&cause))?.sync_all().map_err(|cause| tell(&cause))?;
    finish(&part, to).map_err(|cause| tell(&cause))
}

/// Keeps the newest `keep` copies made before migrations.
pub(super) fn rotate(folder: &Path, keep: usize) -> std::io::Result<()> {
    let mut copies: Vec<PathBuf> = std::fs::read_dir(folder)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.file_name().is_some_and(|name| name.to_string_lossy().starts_with("before-migration-")))
        .collect();
    copies.sort_by_key(|path| std::fs::metadata(path).and_then(|about| about.modified()).ok());
    let surplus = copies.len().saturating_sub(keep.max(1));
    for old in copies.into_iter().take(surplus) {
        std::fs::remove_file(old)?;
    }
    Ok(())
}

fn finish(part: &Path, to: &Path) -> std::io::Result<PathBuf> {
    std::fs::File::open(part)?.sync_all()?;
    std::fs::rename(part, to)?;
    if let Some(folder) = to.parent() {
        std::fs::File::open(folder)?.sync_all()?;
    }
    Ok(to.to_owned())
}

fn row_as_json(row: &AnyRow) -> Result<Value, String> {
    let mut map = Map::new();
    for (place, column) in row.columns().iter().enumerate() {
        let raw = row.try_get_raw(place).map_err(|cause| cause.to_string())?;
        let value = if raw.is_null() {
            Value::Null
        } else {
            match raw.type_info().kind() {
                AnyTypeInfoKind::Text => json!(row.get::<String, _>(place)),
                AnyTypeInfoKind::Double | AnyTypeInfoKind::Real => json!(row.get::<f64, _>(place)),
                AnyTypeInfoKind::Blob => json!({ "base64": STANDARD.encode(row.get::<Vec<u8>, _>(place)) }),
                AnyTypeInfoKind::BigInt | AnyTypeInfoKind::Integer | AnyTypeInfoKind::SmallInt => {
                    json!(row.get::<i64, _>(place))
                }
                _ => {
                    return Err(format!(
                        "column {} has a type this archive does not carry: {}",
                        column.name(),
                        raw.type_info().name()
                    ));
                }
            }
        };
        map.insert(column.name().to_owned(), value);
    }
    Ok(Value::Object(map))
}
