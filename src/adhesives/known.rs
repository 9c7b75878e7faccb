//! From kept summaries to what is known: of a bottle, through its sisters and its family, and of any adhesive here. Pure.
//!
//! A bottle learns from its own tests; bottles of the same product lend theirs, less each bottle's own deviation; products
//! of the same family lend what air, bead and liquids do. Only one kind of test piece enters a fit, throughout.

use super::product::Product;
use super::set_time::{Posterior, Prior, ProductSums, Scatter, Sums, TestPiece};
use super::summary::{Past, Summary};
use crate::base::ids::{BottleId, ProductId};

/// Tests a product needs before it speaks for its family.
const FAMILY_TESTS: u32 = 6;

/// A product with what its bottles' tests came to.
#[derive(Debug, Clone)]
pub struct KnownProduct {
    /// The product.
    pub product: Product,
    /// Its finished bottles together.
    pub past: Past,
    /// Its bottles that are not finished.
    pub bottles: Vec<(BottleId, Summary)>,
}

impl KnownProduct {
    /// What its bottles told on this piece, one of them left out.
    #[must_use]
    pub fn sums(&self, piece: TestPiece, without: Option<BottleId>) -> ProductSums {
        let mut sums = self.past.on(piece);
        for (id, summary) in &self.bottles {
            if Some(*id) != without && summary.piece == piece {
                sums.add_bottle(&summary.sums);
            }
        }
        sums
    }

    /// The piece with the most tests, and how many.
    fn piece(&self) -> (TestPiece, u32) {
        most_tested(|piece| self.sums(piece, None).tests())
    }
}

fn most_tested(tests: impl Fn(TestPiece) -> u32) -> (TestPiece, u32) {
    let mut chosen = (TestPiece::default(), 0);
    for piece in TestPiece::ALL {
        let count = tests(piece);
        if count > chosen.1 {
            chosen = (piece, count);
        }
    }
    chosen
}

/// What stands behind a prior.
#[derive(Debug, Clone)]
pub struct Before {
    /// The prior itself.
    pub prior: Prior,
    /// True where tested products of the same family lend what air, bead and liquids do.
    pub of_family: bool,
}

/// Everything the studio's tests came to.
#[derive(Debug, Clone)]
pub struct Known {
    products: Vec<KnownProduct>,
    /// For each product that speaks for its family: the piece, the posterior on its own label, and the tests.
    kin: Vec<Option<(TestPiece, Posterior, u32)>>,
}

impl Known {
    /// From every product of the studio.
    #[must_use]
    pub fn of(products: Vec<KnownProduct>) -> Self {
        let kin = products.iter().map(|known| Self::kin(known, &products)).collect();
        Self { products, kin }
    }

    /// Only where the family has another product that could use it: the posterior costs a quarter of a millisecond.
    fn kin(known: &KnownProduct, all: &[KnownProduct]) -> Option<(TestPiece, Posterior, u32)> {
        let family = known.product.family;
        let has_kin = family.is_kin() && all.iter().filter(|other| other.product.family == family).count() > 2;
        let (piece, tests) = known.piece();
        (has_kin && tests >= FAMILY_TESTS).then(|| {
            let prior = Prior::from_label(known.product.label().as_ref());
            (piece, Posterior::within_product(&prior, &known.sums(piece, None), &Sums::none()), tests)
        })
    }

    /// The products, in the order given.
    #[must_use]
    pub fn products(&self) -> &[KnownProduct] {
        &self.products
    }

    /// One product.
    #[must_use]
    pub fn product(&self, id: ProductId) -> Option<&KnownProduct> {
        self.products.iter().find(|known| known.product.id == id)
    }

    /// What is assumed of a product before its own tests, on this piece: its label, and what its family lends.
    #[must_use]
    pub fn before(&self, product: &Product, piece: TestPiece) -> Before {
        let label = product.label();
        let relatives: Vec<(&Posterior, u32)> = self
            .products
            .iter()
            .zip(&self.kin)
            .filter(|(known, _)| known.product.family == product.family && known.product.id != product.id)
            .filter_map(|(_, kin)| kin.as_ref())
            .filter(|(tested_on, _, _)| *tested_on == piece)
            .map(|(_, posterior, tests)| (posterior, *tests))
            .collect();
        match Prior::from_family(label.as_ref(), &relatives) {
            Some(prior) if product.family.is_kin() => Before { prior, of_family: true },
            _ => Before { prior: Prior::from_label(label.as_ref()), of_family: false },
        }
    }

    /// The piece whose tests a bottle is judged by: its own, else its product's, else the studio's.
    #[must_use]
    pub fn piece(&self, product: ProductId, own: &Summary) -> TestPiece {
        if own.tests() > 0 {
            return own.piece;
        }
        match self.product(product).map(KnownProduct::piece) {
            Some((piece, tests)) if tests > 0 => piece,
            _ => self.studio_piece(),
        }
    }

    fn studio_piece(&self) -> TestPiece {
        most_tested(|piece| self.products.iter().map(|known| known.sums(piece, None).tests()).sum()).0
    }

    /// What is known of a bottle of this product, its own tests as given.
    #[must_use]
    pub fn posterior(&self, product: ProductId, bottle: BottleId, own: &Summary) -> Posterior {
        let piece = self.piece(product, own);
        let Some(known) = self.product(product) else { return Posterior::of(&Prior::from_label(None), &own.sums) };
        let before = self.before(&known.product, piece);
        Posterior::within_product(&before.prior, &known.sums(piece, Some(bottle)), &own.sums)
    }

    /// What air, bead and liquids do to any adhesive here, for the classes; the table's priors without tests.
    #[must_use]
    pub fn any_adhesive(&self) -> Scatter {
        let piece = self.studio_piece();
        let sums: Vec<ProductSums> = self.products.iter().map(|known| known.sums(piece, None)).collect();
        Scatter::of_any_adhesive_here(&Posterior::pooled(&sums))
    }
}
