//! How long a search as one types takes among many clients, and among few in the same run: `cargo bench --bench clients`. Timed is
//! what the page's script waits for but for the network: a connection, the statements, the rows.

mod studio;

use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::base::ids::ClientId;
use stillroom::clients;
use stillroom::store::{FormKey, Kept, Store};

const MANY: usize = 50_000;
const FEW: usize = 500;

/// What somebody types, letter by letter: two letters that hundreds begin with, a whole name, two beginnings, the end of a number, and
/// nobody.
const TYPED: [&str; 5] = ["lo", "lovell4", "anna1 lov", "04999", "zz"];

const FIRST: [&str; 10] = ["anna", "mari", "lotte", "bea", "clara", "dina", "ester", "frida", "greta", "hanna"];
const LAST: [&str; 10] = ["lovell", "marsh", "lund", "dahl", "berg", "falk", "holm", "lien", "roth", "toft"];

async fn house(many: usize) -> (Store, tempfile::TempDir) {
    let (store, _, folder) = studio::empty(None).await;
    for from in (0..many).step_by(500) {
        let key = FormKey::house();
        let write = store.write(&key, move |tx| {
            Box::pin(async move {
                for n in from..from + 500 {
                    let id = ClientId::new().to_string();
                    let (first, last) =
                        (format!("{}{}", FIRST[n % 10], n % 997), format!("{}{}", LAST[n / 10 % 10], n % 89));
                    let phone = format!("{}", 20_000_000 + n);
                    sqlx::query(
                        "insert into client (id, name, name_key, sound, phone, phone_digits, email, email_key, notes, created)
                         values ($1, $2, $2, '', $3, $3, '', '', '', 1)",
                    )
                    .bind(&id)
                    .bind(format!("{first} {last}"))
                    .bind(&phone)
                    .execute(tx.db())
                    .await?;
                    for word in [first.as_bytes(), last.as_bytes(), phone.as_bytes(), &phone.as_bytes()[3..]] {
                        sqlx::query("insert into client_word (client, word) values ($1, $2) on conflict (client, word) do nothing")
                            .bind(&id)
                            .bind(word.to_vec())
                            .execute(tx.db())
                            .await?;
                    }
                }
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        });
        write.await.expect("clients");
    }
    (store, folder)
}

fn searching(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    for many in [FEW, MANY] {
        let (store, _folder) = runtime.block_on(house(many));
        for typed in TYPED {
            let find = async || {
                let mut db = store.read().await.expect("a snapshot");
                clients::find(&mut db, typed, 20).await.expect("an answer").len()
            };
            let found = runtime.block_on(find());
            assert!(typed == "zz" || many == FEW || found > 0, "“{typed}” finds nobody");
            bench.bench_function(&format!("{many} clients, “{typed}”, {found} shown"), |bench| {
                bench.iter(|| runtime.block_on(find()));
            });
        }
    }
}

criterion_group!(all, searching);
criterion_main!(all);
