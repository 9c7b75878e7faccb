//! How long a room's page takes with a year of ten-minute readings behind it: `cargo bench --bench rooms`.
//! The whole way of a request is timed: session, snapshot, statements, correction, both charts, the page's text.

mod studio;

use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::rooms;
use studio::Studio;

fn room_page(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let studio = runtime.block_on(Studio::of_days(365));
    let room = runtime.block_on(async {
        let mut db = studio.house.store.read().await.expect("a snapshot");
        rooms::all(&mut db).await.expect("rooms")[0].id
    });
    for span in ["day", "week", "month"] {
        let path = format!("/rooms/{room}?span={span}");
        bench.bench_function(&format!("room page, a year of readings, {span}"), |bench| {
            bench.iter(|| runtime.block_on(studio.open(&path)));
        });
    }
}

criterion_group!(rooms_pages, room_page);
criterion_main!(rooms_pages);
