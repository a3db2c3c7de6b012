//! A model as free-format MPS, which other solvers read.

use std::fmt::Write;

use crate::model::{Model, Relation, Sense};

/// Writes the model as free-format MPS. Names become `x1`, `x2` ... and `r1`, `r2` ..., with a comment line giving
/// what each stands for.
pub fn to_mps(model: &Model, name: &str) -> String {
    let mut text = String::new();
    write_mps(model, name, &mut text).unwrap_or_default();
    text
}

fn write_mps(model: &Model, name: &str, out: &mut String) -> std::fmt::Result {
    for (index, column) in model.columns.iter().enumerate() {
        writeln!(out, "* x{} {}", index + 1, column.name)?;
    }
    for (index, row) in model.rows.iter().enumerate() {
        writeln!(out, "* r{} {}", index + 1, row.name)?;
    }
    writeln!(out, "NAME {}", name.replace(char::is_whitespace, "_"))?;
    if model.sense == Sense::Maximize {
        writeln!(out, "OBJSENSE\n MAX")?;
    }
    writeln!(out, "ROWS\n N cost")?;
    for (index, row) in model.rows.iter().enumerate() {
        let letter = match row.relation {
            Relation::AtMost => 'L',
            Relation::AtLeast => 'G',
            Relation::Equal => 'E',
        };
        writeln!(out, " {letter} r{}", index + 1)?;
    }
    write_columns(model, out)?;
    writeln!(out, "RHS")?;
    for (index, row) in model.rows.iter().enumerate() {
        writeln!(out, " rhs r{} {}", index + 1, row.right)?;
    }
    write_bounds(model, out)?;
    writeln!(out, "ENDATA")
}

fn write_columns(model: &Model, out: &mut String) -> std::fmt::Result {
    let mut terms: Vec<Vec<(usize, f64)>> = vec![Vec::new(); model.columns.len()];
    for (row, content) in model.rows.iter().enumerate() {
        for &(column, coefficient) in &content.terms {
            terms[column].push((row, coefficient));
        }
    }
    writeln!(out, "COLUMNS")?;
    let mut inside = false;
    for (index, column) in model.columns.iter().enumerate() {
        if column.whole != inside {
            inside = column.whole;
            let edge = if inside { "INTORG" } else { "INTEND" };
            writeln!(out, " MARKER 'MARKER' '{edge}'")?;
        }
        writeln!(out, " x{} cost {}", index + 1, column.objective)?;
        for (row, coefficient) in &terms[index] {
            writeln!(out, " x{} r{} {coefficient}", index + 1, row + 1)?;
        }
    }
    if inside {
        writeln!(out, " MARKER 'MARKER' 'INTEND'")?;
    }
    Ok(())
}

fn write_bounds(model: &Model, out: &mut String) -> std::fmt::Result {
    writeln!(out, "BOUNDS")?;
    for (index, column) in model.columns.iter().enumerate() {
        let x = index + 1;
        match (column.low.is_finite(), column.high.is_finite()) {
            (false, false) => writeln!(out, " FR bnd x{x}")?,
            (false, true) => writeln!(out, " MI bnd x{x}\n UP bnd x{x} {}", column.high)?,
            (true, false) => writeln!(out, " LO bnd x{x} {}\n PL bnd x{x}", column.low)?,
            (true, true) => {
                writeln!(
                    out,
                    " LO bnd x{x} {}\n UP bnd x{x} {}",
                    column.low, column.high
                )?;
            }
        }
    }
    Ok(())
}
