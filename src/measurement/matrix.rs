//! Small matrices of two doubles, for the normal equations of a fit.
//!
//! A matrix comes in, its inverse goes out. Nothing larger than a curve of the fourth degree needs.

use super::double_double::DoubleDouble;

/// Coefficients of the longest curve.
pub(super) const TERMS: usize = 5;

/// A matrix of which a fit uses the upper left corner.
pub(super) type Matrix = [[DoubleDouble; TERMS]; TERMS];

/// Inverse of a symmetric positive matrix by elimination with pivoting. `None` when it has none.
pub(super) fn invert(mut matrix: Matrix, terms: usize) -> Option<Matrix> {
    let mut inverse = [[DoubleDouble::ZERO; TERMS]; TERMS];
    for (i, row) in inverse.iter_mut().enumerate() {
        row[i] = DoubleDouble::ONE;
    }
    for column in 0..terms {
        let size = |row: usize| matrix[row][column].to_f64().abs();
        let pivot = (column..terms).max_by(|a, b| size(*a).total_cmp(&size(*b)))?;
        // The first pivot is the number of points; two doubles carry 31 digits.
        if size(pivot).is_nan() || size(pivot) < 1e-24 {
            return None;
        }
        matrix.swap(column, pivot);
        inverse.swap(column, pivot);
        let head = matrix[column][column];
        for j in 0..terms {
            matrix[column][j] = matrix[column][j] / head;
            inverse[column][j] = inverse[column][j] / head;
        }
        for row in (0..terms).filter(|row| *row != column) {
            let factor = matrix[row][column];
            for j in 0..terms {
                matrix[row][j] = matrix[row][j] - factor * matrix[column][j];
                inverse[row][j] = inverse[row][j] - factor * inverse[column][j];
            }
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_matrix_times_its_inverse_is_one() {
        // The matrix of 1 / (i + j + 1), whose condition number is near half a million at five rows.
        let mut matrix = [[DoubleDouble::ZERO; TERMS]; TERMS];
        for (i, row) in matrix.iter_mut().enumerate() {
            for (j, element) in row.iter_mut().enumerate() {
                *element = DoubleDouble::ONE / DoubleDouble::from((i + j + 1) as f64);
            }
        }
        let inverse = invert(matrix, TERMS).unwrap();
        for (i, row) in matrix.iter().enumerate() {
            for j in 0..TERMS {
                let product: DoubleDouble = row.iter().zip(&inverse).map(|(left, right)| *left * right[j]).sum();
                let expected = if i == j { 1.0 } else { 0.0 };
                assert!((product.to_f64() - expected).abs() < 1e-22, "{i} {j}");
            }
        }
    }

    #[test]
    fn two_equal_rows_have_no_inverse() {
        let mut matrix = [[DoubleDouble::ONE; TERMS]; TERMS];
        assert_eq!(invert(matrix, 2), None);
        matrix[1][1] = DoubleDouble::from(f64::NAN);
        assert_eq!(invert(matrix, 2), None);
    }
}
