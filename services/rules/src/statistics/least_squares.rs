//! Weighted least squares.
//!
//! The rows are turned once by QR (Householder) into a triangle as small as the number
//! of columns; every question after that, of whatever columns, is asked of the triangle.
//! A column that those before it already say is **aliased**: it gets no coefficient, and
//! a sum of coefficients that would need it is not **estimable**. The weight of a row is
//! one over its variance, up to a factor.

use nalgebra::{DMatrix, DVector};

/// A column is said by others where no more than this share of its length is left.
const ALIASED: f64 = 1e-9;
/// A sum of coefficients is estimable where aliased columns take no more part in it.
const ESTIMABLE: f64 = 1e-6;

/// One row: what was seen, under what.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Value of each column.
    pub x: Vec<f64>,
    /// What was seen.
    pub y: f64,
    /// Its weight, above 0.
    pub weight: f64,
}

/// Rows, turned into their triangle.
#[derive(Debug, Clone)]
pub struct Triangle {
    /// R of the weighted rows: the columns, then one that is always 1, then y.
    turned: Vec<DVector<f64>>,
    columns: usize,
    rows: usize,
}

/// A fit.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Columns that have a coefficient, rising.
    kept: Vec<usize>,
    /// Each column that was to be fitted and is aliased, as a sum of those kept.
    aliased: Vec<(usize, DVector<f64>)>,
    coefficients: DVector<f64>,
    /// Triangle of the kept columns.
    triangle: DMatrix<f64>,
    residual_squares: f64,
    squares_about_mean: f64,
    degrees: usize,
}

/// A sum of coefficients.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sum {
    /// Its value.
    pub value: f64,
    /// Its standard error; `None` where no row is left to tell.
    pub error: Option<f64>,
}

impl Triangle {
    /// Turns `rows` of `columns` values each; `None` where there are no rows or no
    /// columns, or a row has another number of values or one that is no number.
    #[must_use]
    pub fn of(rows: &[Row], columns: usize) -> Option<Triangle> {
        let sound = |row: &Row| {
            row.x.len() == columns
                && row.x.iter().all(|x| x.is_finite())
                && row.y.is_finite()
                && row.weight.is_finite()
                && row.weight > 0.0
        };
        if rows.is_empty() || columns == 0 || !rows.iter().all(sound) {
            return None;
        }
        let values = rows.iter().flat_map(|row| {
            let root = libm::sqrt(row.weight);
            let all = row.x.iter().chain([&1.0, &row.y]);
            all.map(move |value| value * root)
        });
        let r = DMatrix::from_row_iterator(rows.len(), columns + 2, values)
            .qr()
            .unpack_r();
        Some(Triangle {
            turned: r.column_iter().map(|column| column.into_owned()).collect(),
            columns,
            rows: rows.len(),
        })
    }

    /// Fits all columns, in their order: of those that say the same the first is kept.
    #[must_use]
    pub fn fit(&self) -> Fit {
        let all: Vec<usize> = (0..self.columns).collect();
        self.fit_to(&all, &self.turned[self.columns + 1])
    }

    /// Fits `free` columns to what is left of y where every other column has its
    /// coefficient in `fixed`.
    pub(super) fn fit_beside(&self, free: &[usize], fixed: &[f64]) -> Fit {
        self.fit_to(free, &self.left(fixed, |column| !free.contains(&column)))
    }

    /// For each column, how fast half the squares fall as its coefficient rises from
    /// `coefficients`.
    pub(super) fn descent(&self, coefficients: &[f64]) -> Vec<f64> {
        let left = self.left(coefficients, |_| true);
        let columns = self.turned.iter().take(self.columns);
        columns.map(|column| column.dot(&left)).collect()
    }

    /// Length of a column, and of y.
    pub(super) fn lengths(&self, column: usize) -> (f64, f64) {
        let of = |column: usize| self.turned[column].norm();
        (of(column), of(self.columns + 1))
    }

    /// Rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.rows
    }

    fn left(&self, coefficients: &[f64], counts: impl Fn(usize) -> bool) -> DVector<f64> {
        let mut left = self.turned[self.columns + 1].clone();
        for (column, coefficient) in coefficients.iter().enumerate() {
            if counts(column) {
                left.axpy(-coefficient, &self.turned[column], 1.0);
            }
        }
        left
    }

    fn fit_to(&self, columns: &[usize], y: &DVector<f64>) -> Fit {
        let mut basis = Basis::default();
        let (kept, said): (Vec<usize>, Vec<usize>) = columns
            .iter()
            .partition(|column| basis.take(&self.turned[**column]));
        // The kept columns, y, then the aliased ones: R holds Q' of the later ones.
        let column = |column: &usize| self.turned[*column].clone();
        let mut all: Vec<DVector<f64>> = kept.iter().map(column).collect();
        all.push(y.clone());
        all.extend(said.iter().map(column));
        let r = DMatrix::from_columns(&all).qr().unpack_r();
        let n = kept.len();
        let triangle = r.view((0, 0), (n, n)).into_owned();
        // Each kept column has length of its own, so the triangle has its diagonal.
        let solve = |column: usize| {
            let top = r.view((0, column), (n, 1)).column(0).into_owned();
            let solved = triangle.solve_upper_triangular(&top);
            solved.unwrap_or_else(|| DVector::zeros(n))
        };
        let places = n + 1..;
        Fit {
            coefficients: solve(n),
            aliased: said
                .iter()
                .zip(places)
                .map(|(column, place)| (*column, solve(place)))
                .collect(),
            residual_squares: r.column(n).rows_range(n..).norm_squared(),
            squares_about_mean: self.about_mean(y).norm_squared(),
            degrees: self.rows.saturating_sub(n),
            triangle,
            kept,
        }
    }

    /// Variance inflation of `column` beside the columns `against`: 1 / (1 - R^2) where
    /// they, and a constant, are fitted to it. `None` is without end: they say it.
    #[must_use]
    pub fn inflation(&self, column: usize, against: &[usize]) -> Option<f64> {
        let constant = [self.columns];
        self.inflation_of(column, &constant, against)
    }

    /// The same without a constant: R^2 is about 0.
    #[must_use]
    pub fn inflation_about_zero(&self, column: usize, against: &[usize]) -> Option<f64> {
        self.inflation_of(column, &[], against)
    }

    fn inflation_of(&self, column: usize, base: &[usize], against: &[usize]) -> Option<f64> {
        let own = &self.turned[column];
        let mut basis = Basis::default();
        for other in base {
            basis.take(&self.turned[*other]);
        }
        let before = basis.left(own).norm_squared();
        for other in against {
            basis.take(&self.turned[*other]);
        }
        let left = basis.left(own).norm();
        (left > ALIASED * own.norm()).then(|| before / (left * left))
    }

    /// How alike two columns are about their means, from -1 to 1; `None` where one of
    /// them never changes.
    #[must_use]
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let changes = |column: usize| {
            let whole = &self.turned[column];
            let change = self.about_mean(whole);
            (change.norm() > ALIASED * whole.norm()).then_some(change)
        };
        let (one, other) = (changes(one)?, changes(other)?);
        let cosine = one.dot(&other) / (one.norm() * other.norm());
        Some(cosine.clamp(-1.0, 1.0))
    }

    fn about_mean(&self, column: &DVector<f64>) -> DVector<f64> {
        let mut constant = Basis::default();
        constant.take(&self.turned[self.columns]);
        constant.left(column)
    }
}

impl Fit {
    /// Coefficient of `column`; `None` where it is aliased or was not fitted.
    #[must_use]
    pub fn coefficient(&self, column: usize) -> Option<f64> {
        let place = self.kept.binary_search(&column).ok()?;
        self.coefficients.get(place).copied()
    }

    /// Standard error of the coefficient of `column`.
    #[must_use]
    pub fn error(&self, column: usize) -> Option<f64> {
        self.kept.binary_search(&column).ok()?;
        let mut unit = DVector::zeros(self.kept.len());
        unit[self.kept.binary_search(&column).ok()?] = 1.0;
        self.error_of(&unit)
    }

    /// The sum of coefficients times factors; `None` where it is not estimable.
    #[must_use]
    pub fn sum(&self, terms: &[(usize, f64)]) -> Option<Sum> {
        let factor = |column: usize| {
            let of = terms.iter().filter(|(named, _)| *named == column);
            of.map(|(_, factor)| factor).sum::<f64>()
        };
        let fitted = |column: &usize| {
            self.kept.contains(column) || self.aliased.iter().any(|(said, _)| said == column)
        };
        let c = DVector::from_iterator(
            self.kept.len(),
            self.kept.iter().map(|column| factor(*column)),
        );
        let estimable = terms.iter().all(|(column, _)| fitted(column))
            && self
                .aliased
                .iter()
                .all(|(column, said)| (factor(*column) - c.dot(said)).abs() < ESTIMABLE);
        estimable.then(|| Sum {
            value: c.dot(&self.coefficients),
            error: self.error_of(&c),
        })
    }

    fn error_of(&self, factors: &DVector<f64>) -> Option<f64> {
        let spread = self.triangle.tr_solve_upper_triangular(factors)?;
        Some(self.residual_deviation()? * spread.norm())
    }

    /// What the fit says of a row; an aliased column counts for nothing.
    #[must_use]
    pub fn fitted(&self, x: &[f64]) -> f64 {
        let kept = self.kept.iter().zip(self.coefficients.iter());
        kept.filter_map(|(column, b)| Some(x.get(*column)? * b))
            .sum()
    }

    /// Leverage of a row of the fit, 0 to 1: how much of what the fit says of it is its own
    /// saying (the diagonal of the hat matrix; Belsley, Kuh and Welsch, Regression
    /// Diagnostics, 1980, from memory). A row of which it is 1 has no residual.
    #[must_use]
    pub fn leverage(&self, row: &Row) -> Option<f64> {
        let own = self.kept.iter().map(|column| row.x.get(*column).copied());
        let own: Vec<f64> = own.collect::<Option<_>>()?;
        let spread = self
            .triangle
            .tr_solve_upper_triangular(&DVector::from_vec(own))?;
        Some(row.weight * spread.norm_squared())
    }

    /// Rows less coefficients.
    #[must_use]
    pub fn degrees(&self) -> usize {
        self.degrees
    }

    /// Deviation of a row of weight 1; `None` where no row is left to tell.
    #[must_use]
    pub fn residual_deviation(&self) -> Option<f64> {
        (self.degrees > 0).then(|| libm::sqrt(self.residual_squares / self.degrees as f64))
    }

    /// Share of the squares about the mean that is explained, where a constant is among
    /// the columns; `None` where y never changes.
    #[must_use]
    pub fn r_squared(&self) -> Option<f64> {
        (self.squares_about_mean > 0.0)
            .then(|| 1.0 - self.residual_squares / self.squares_about_mean)
    }
}

/// Directions at right angles that some columns span.
#[derive(Default)]
struct Basis {
    directions: Vec<DVector<f64>>,
}

impl Basis {
    /// Takes `column` in; `false` where those before it say it already.
    fn take(&mut self, column: &DVector<f64>) -> bool {
        let left = self.left(column);
        let length = left.norm();
        let new = length > ALIASED * column.norm();
        if new {
            self.directions.push(left / length);
        }
        new
    }

    /// What of `column` they do not say. Twice over, since once leaves rounding behind.
    fn left(&self, column: &DVector<f64>) -> DVector<f64> {
        let mut left = column.clone();
        for direction in self.directions.iter().chain(&self.directions) {
            let along = direction.dot(&left);
            left.axpy(-along, direction, 1.0);
        }
        left
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::statistics::published::{agrees, table};

    fn row(x: &[f64], y: f64, weight: f64) -> Row {
        Row {
            x: x.to_vec(),
            y,
            weight,
        }
    }

    fn turned(rows: &[Row]) -> Triangle {
        Triangle::of(rows, rows[0].x.len()).unwrap()
    }

    /// Coefficients, errors and residual deviation are the certified ones to 9 digits.
    fn certified(name: &str, fit: &Fit, coefficients: &[(f64, f64)], deviation: f64) {
        for (column, (coefficient, error)) in coefficients.iter().enumerate() {
            let got = fit.coefficient(column).unwrap();
            agrees(&format!("{name} B{column}"), got, *coefficient, 9.0);
            let got = fit.error(column).unwrap();
            agrees(&format!("{name} error of B{column}"), got, *error, 9.0);
        }
        let got = fit.residual_deviation().unwrap();
        agrees(&format!("{name} residual deviation"), got, deviation, 9.0);
    }

    #[test]
    fn what_rows_say_of_themselves_adds_up_to_the_columns() {
        // The trace of the hat matrix is its rank: 2 columns and one that says nothing new.
        let rows = table(include_str!("data/norris.txt"));
        let rows: Vec<Row> = (1..)
            .zip(&rows)
            .map(|(n, r)| row(&[1.0, r[0], 2.0 * r[0] - 3.0], r[1], f64::from(n)))
            .collect();
        let fit = turned(&rows).fit();
        let leverages = rows.iter().map(|row| fit.leverage(row).unwrap());
        let leverages: Vec<f64> = leverages.collect();
        assert!((leverages.iter().sum::<f64>() - 2.0).abs() < 1e-9);
        assert!(
            leverages
                .iter()
                .all(|leverage| (0.0..=1.0).contains(leverage))
        );
        // Of equal rows under one column each says as much as any other.
        let alike: Vec<Row> = (0..8).map(|n| row(&[1.0], f64::from(n), 3.0)).collect();
        let leverage = turned(&alike).fit().leverage(&alike[0]).unwrap();
        assert!((leverage - 0.125).abs() < 1e-12, "{leverage}");
    }

    #[test]
    fn norris_is_fitted_as_nist_certifies_it() {
        // NIST StRD, linear regression: Norris, data and certified values.
        let rows = table(include_str!("data/norris.txt"));
        let rows: Vec<Row> = rows.iter().map(|r| row(&[1.0, r[0]], r[1], 1.0)).collect();
        let fit = turned(&rows).fit();
        let published = [
            (-0.262323073774029, 0.232818234301152),
            (1.00211681802045, 0.429796848199937e-3),
        ];
        certified("Norris", &fit, &published, 0.884796396144373);
        let r_squared = fit.r_squared().unwrap();
        agrees("Norris R2", r_squared, 0.999993745883712, 9.0);
        // The digits of 1 - R2 as well, or a constant would pass.
        agrees(
            "Norris 1 - R2",
            1.0 - r_squared,
            1.0 - 0.999993745883712,
            9.0,
        );
    }

    #[test]
    fn longley_is_fitted_as_nist_certifies_it() {
        // NIST StRD, linear regression: Longley 1967, data and certified values.
        let rows = table(include_str!("data/longley.txt"));
        let rows: Vec<Row> = rows
            .iter()
            .map(|r| row(&[&[1.0], &r[1..]].concat(), r[0], 1.0))
            .collect();
        let fit = turned(&rows).fit();
        let published = [
            (-3482258.63459582, 890420.383607373),
            (15.0618722713733, 84.9149257747669),
            (-0.358191792925910e-01, 0.334910077722432e-01),
            (-2.02022980381683, 0.488399681651699),
            (-1.03322686717359, 0.214274163161675),
            (-0.511041056535807e-01, 0.226073200069370),
            (1829.15146461355, 455.478499142212),
        ];
        certified("Longley", &fit, &published, 304.854073561965);
        agrees(
            "Longley R2",
            fit.r_squared().unwrap(),
            0.995479004577296,
            9.0,
        );
    }

    #[test]
    fn a_weight_counts_as_so_many_equal_rows() {
        let points = [(1.0, 2.0, 1), (2.0, 2.5, 3), (4.0, 5.0, 2), (5.0, 4.0, 1)];
        let weighted: Vec<Row> = points
            .iter()
            .map(|(x, y, w)| row(&[1.0, *x], *y, f64::from(*w)))
            .collect();
        let repeated: Vec<Row> = points
            .iter()
            .flat_map(|(x, y, w)| (0..*w).map(|_| row(&[1.0, *x], *y, 1.0)))
            .collect();
        let (one, other) = (turned(&weighted).fit(), turned(&repeated).fit());
        for column in [0, 1] {
            let both = (one.coefficient(column), other.coefficient(column));
            agrees("coefficient", both.0.unwrap(), both.1.unwrap(), 12.0);
        }
        assert_eq!((one.degrees(), other.degrees()), (2, 5));
    }

    #[test]
    fn a_column_that_others_say_is_aliased_and_what_needs_it_cannot_be_estimated() {
        // Two cutters and two suppliers; the second supplier's fish went to the second
        // cutter alone, and to him went no other.
        let rows: Vec<Row> = [(0.0, 3.0), (0.0, 3.2), (1.0, 2.0), (1.0, 2.4), (1.0, 2.2)]
            .iter()
            .map(|(second, y)| row(&[1.0, *second, *second], *y, 1.0))
            .collect();
        let triangle = turned(&rows);
        let fit = triangle.fit();
        assert_eq!((fit.coefficient(2), fit.error(2)), (None, None));
        agrees("both", fit.coefficient(1).unwrap(), 2.2 - 3.1, 12.0);
        assert_eq!(fit.degrees(), 3);
        assert_eq!(fit.sum(&[(2, 1.0)]), None);
        assert_eq!(fit.sum(&[(1, 1.0)]), None);
        let both = fit.sum(&[(1, 1.0), (2, 1.0)]).unwrap();
        agrees("their sum", both.value, 2.2 - 3.1, 12.0);
        agrees(
            "its error",
            both.error.unwrap(),
            fit.error(1).unwrap(),
            12.0,
        );
        assert_eq!(fit.sum(&[(3, 1.0)]), None);
        assert_eq!(triangle.inflation(2, &[1]), None);
        agrees("alike", triangle.correlation(1, 2).unwrap(), 1.0, 12.0);
        assert_eq!(triangle.correlation(0, 2), None);
        agrees("fitted", fit.fitted(&[1.0, 1.0, 1.0]), 2.2, 12.0);
    }

    #[test]
    fn inflation_is_that_of_the_regression_of_a_column_on_the_others() {
        // By hand: x = 1..4 and z = 1 2 2 4; about their means the squares are 5 and
        // 4.75, the product 4.5, so R2 = 4.5^2 / (5 x 4.75) = 0.852631578947...
        let rows: Vec<Row> = [(1.0, 1.0), (2.0, 2.0), (3.0, 2.0), (4.0, 4.0)]
            .iter()
            .map(|(x, z)| row(&[*x, *z], 0.0, 1.0))
            .collect();
        let triangle = turned(&rows);
        let r_squared = 4.5 * 4.5 / (5.0 * 4.75);
        let inflation = triangle.inflation(0, &[1]).unwrap();
        agrees("inflation", inflation, 1.0 / (1.0 - r_squared), 12.0);
        let alike = triangle.correlation(0, 1).unwrap();
        agrees("correlation", alike * alike, r_squared, 12.0);
        // About 0: product 27 of squares 30 and 25.
        let about_zero = triangle.inflation_about_zero(1, &[0]).unwrap();
        let r_squared = 27.0 * 27.0 / (30.0 * 25.0);
        agrees("about zero", about_zero, 1.0 / (1.0 - r_squared), 12.0);
        agrees("alone", triangle.inflation(0, &[]).unwrap(), 1.0, 12.0);
    }

    #[test]
    fn as_many_coefficients_as_rows_leave_no_error_to_tell() {
        let fit = turned(&[row(&[1.0, 0.0], 2.0, 1.0), row(&[0.0, 1.0], 3.0, 1.0)]).fit();
        let got = (fit.coefficient(0).unwrap(), fit.coefficient(1).unwrap());
        assert!((got.0 - 2.0).abs() < 1e-12 && (got.1 - 3.0).abs() < 1e-12);
        assert_eq!((fit.degrees(), fit.error(0)), (0, None));
        // Fewer rows than columns: the first ones are kept.
        let fit = turned(&[row(&[1.0, 1.0, 1.0], 2.0, 1.0)]).fit();
        assert_eq!((fit.coefficient(1), fit.coefficient(2)), (None, None));
        agrees("the first", fit.coefficient(0).unwrap(), 2.0, 12.0);
    }

    #[test]
    fn rows_that_are_no_numbers_are_not_turned() {
        assert!(Triangle::of(&[], 1).is_none());
        assert!(Triangle::of(&[row(&[], 1.0, 1.0)], 0).is_none());
        for bad in [
            row(&[1.0, 2.0], 1.0, 1.0),
            row(&[f64::NAN], 1.0, 1.0),
            row(&[1.0], f64::INFINITY, 1.0),
            row(&[1.0], 1.0, 0.0),
            row(&[1.0], 1.0, -1.0),
        ] {
            assert!(Triangle::of(&[bad], 1).is_none());
        }
    }
}
