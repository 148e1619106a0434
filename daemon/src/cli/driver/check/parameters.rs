//! `--set NAME=VALUE` to a driver's parameters, read as a probe's table is.

use super::Failure;
use crate::config;
use crate::driver::Driver;

/// Values for the driver, in its order.
///
/// # Errors
/// Where one is no `NAME=VALUE`, is not declared, or is no value of its kind.
pub(super) fn read(given: &[String], driver: &Driver) -> Result<Vec<Vec<f64>>, Failure> {
    let lines: Vec<String> = given
        .iter()
        .map(|one| line(one))
        .collect::<Result<_, _>>()?;
    let text = format!("[parameters]\n{}", lines.join("\n"));
    let (values, problems) = config::parameters(&text, driver);
    values.ok_or_else(|| {
        let faults = problems.iter().filter(|problem| problem.is_error());
        let faults: Vec<String> = faults
            .map(|problem| format!("`--set`: {}; {}", problem.what, problem.right))
            .collect();
        Failure::new(faults.join("\n"))
    })
}

/// A line of the table: a number, a list or a text in quotes as it is, anything else in quotes.
fn line(given: &str) -> Result<String, Failure> {
    let Some((name, value)) = given.split_once('=') else {
        return Err(Failure::new(format!(
            "`--set {given}` names no value; write `--set NAME=VALUE`"
        )));
    };
    let (name, value) = (name.trim(), value.trim());
    let is_ready = value.starts_with(['[', '"', '\'']) || value.parse::<f64>().is_ok();
    let value = match is_ready {
        true => value.to_owned(),
        false => format!("{value:?}"),
    };
    Ok(format!("{name:?} = {value}"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::driver::find;
    use insta::assert_snapshot;

    fn read_for(driver: &str, given: &[&str]) -> Result<Vec<Vec<f64>>, String> {
        let given: Vec<String> = given.iter().map(|one| (*one).to_owned()).collect();
        read(&given, &find(driver).unwrap()).map_err(|failure| failure.to_string())
    }

    #[test]
    fn numbers_units_words_and_lists_are_read_as_in_a_configuration() {
        let values = read_for("photoresistor", &["r10=50 kOhm", "gamma = 0.7"]);
        assert_eq!(values, Ok(vec![vec![5e4], vec![0.7]]));
        let given = ["form=table", "table_x=[0, 1]", "table_y=[5, 6]"];
        let values = read_for("divider", &given).unwrap();
        assert_eq!(
            (values[0][0], &values[4], &values[5]),
            (2.0, &vec![0.0, 1.0], &vec![5.0, 6.0])
        );
    }

    #[test]
    fn what_is_no_parameter_is_told() {
        let told = |given: &[&str]| read_for("photoresistor", given).unwrap_err();
        assert_snapshot!(told(&["r10"]), @"`--set r10` names no value; write `--set NAME=VALUE`");
        assert_snapshot!(told(&["r01=5"]), @"`--set`: unknown key `r01`; there is a key with a similar name: `r10`");
        assert_snapshot!(told(&["r10=5 V", "gamma=9"]), @r#"
    `--set`: `5 V` is a voltage, but a resistance in `Ohm` is wanted; write a number with a unit: `"10 kOhm"`
    `--set`: `gamma` is 9; it must be between 0.1 and 2
    "#);
    }
}
