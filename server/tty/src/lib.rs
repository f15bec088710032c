//! What a serial port's driver has counted since it was loaded: above all, bytes that came while its buffers were full.
//!
//! Linux hands the counts out by the ioctl `TIOCGICOUNT` (linux/serial.h), for which no library has a safe call. It is kept here,
//! alone, so that everything else can forbid unsafe code.

use std::os::fd::AsRawFd;

/// Bytes that a port's driver could not keep. Drivers differ: many USB converters count what their chip tells them, some
/// nothing at all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Overruns {
    /// Times that the receiver's own register or FIFO was overwritten before the driver read it.
    pub chip: u32,
    /// Bytes that found the system's buffer for this port full.
    pub buffer: u32,
}

impl Overruns {
    /// What has been added since `before`. The counts wrap at 32 bits.
    #[must_use]
    pub fn since(self, before: Self) -> Self {
        Self { chip: self.chip.wrapping_sub(before.chip), buffer: self.buffer.wrapping_sub(before.buffer) }
    }

    /// Whether any byte was lost.
    #[must_use]
    pub fn any(self) -> bool {
        self != Self::default()
    }
}

/// `struct serial_icounter_struct` of linux/serial.h.
#[repr(C)]
#[derive(Default)]
struct Counts {
    /// Changes of CTS, DSR, RI and DCD.
    lines: [i32; 4],
    received: i32,
    sent: i32,
    framing: i32,
    overrun: i32,
    parity: i32,
    breaks: i32,
    buffer_overrun: i32,
    reserved: [i32; 9],
}

nix::ioctl_read_bad!(
    /// Fills the counts of an open serial port.
    read_counts,
    nix::libc::TIOCGICOUNT,
    Counts
);

/// The counts of an open port; an error (`ENOTTY`) from a driver that counts nothing.
#[allow(unsafe_code)]
pub fn overruns(port: &impl AsRawFd) -> std::io::Result<Overruns> {
    let mut counts = Counts::default();
    // SAFETY: the kernel writes one `serial_icounter_struct`, 20 ints, and `counts` is one, laid out by C's rules; an open file of
    // another kind refuses the request without writing.
    unsafe { read_counts(port.as_raw_fd(), &raw mut counts) }?;
    Ok(Overruns { chip: counts.overrun.cast_unsigned(), buffer: counts.buffer_overrun.cast_unsigned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_struct_is_as_long_as_the_kernels() {
        assert_eq!(size_of::<Counts>(), 80);
    }

    #[test]
    fn what_counts_nothing_says_so() {
        let file = std::fs::File::open("/dev/null").expect("opens");
        assert_eq!(overruns(&file).map_err(|e| e.raw_os_error()), Err(Some(nix::libc::ENOTTY)));
    }

    #[test]
    fn counts_go_on_over_their_end() {
        let before = Overruns { chip: u32::MAX, buffer: 7 };
        let now = Overruns { chip: 1, buffer: 7 };
        assert_eq!(now.since(before), Overruns { chip: 2, buffer: 0 });
        assert!(now.since(before).any());
        assert!(!now.since(now).any());
    }
}
