//! What a process uses, as Linux tells it.

/// Clock ticks in a second: 100 on every Linux that anybody ships (`getconf CLK_TCK`).
const TICKS: f64 = 100.0;

/// Used so far.
pub(crate) struct Usage {
    pub(crate) cpu_s: f64,
    pub(crate) resident_kib: f64,
}

impl Usage {
    /// Of a process by its number.
    pub(crate) fn of(process: u32) -> Result<Self, String> {
        let read = |file: &str| {
            std::fs::read_to_string(format!("/proc/{process}/{file}"))
                .map_err(|error| format!("process {process} cannot be measured: {error}"))
        };
        let stat = read("stat")?;
        // Fields after the name, which stands in brackets: utime and stime are the 14th and 15th of all.
        let after = stat.rsplit_once(')').map_or("", |(_, after)| after);
        let ticks: f64 =
            after.split_whitespace().skip(11).take(2).filter_map(|t| t.parse::<f64>().ok()).sum();
        let status = read("status")?;
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap_or_default();
        let resident_kib = resident.trim().trim_end_matches("kB").trim().parse().unwrap_or(0.0);
        Ok(Self { cpu_s: ticks / TICKS, resident_kib })
    }
}
