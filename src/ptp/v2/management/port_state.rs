//! `portState` as a device tells it.

/// `portState` (1588-2008 Table 8, from memory; 6 seen in a real capture). Each code is one more than in v1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PortState {
    /// 1.
    Initializing,
    /// 2.
    Faulty,
    /// 3.
    Disabled,
    /// 4: no master heard.
    Listening,
    /// 5.
    PreMaster,
    /// 6.
    Master,
    /// 7.
    Passive,
    /// 8: a master is chosen, the clock is not yet set to it.
    Uncalibrated,
    /// 9: locked or following.
    Slave,
    /// Any other code.
    Reserved(u8),
}

impl PortState {
    /// The state of a wire code.
    #[must_use]
    pub const fn from_wire(code: u8) -> Self {
        match code {
            1 => Self::Initializing,
            2 => Self::Faulty,
            3 => Self::Disabled,
            4 => Self::Listening,
            5 => Self::PreMaster,
            6 => Self::Master,
            7 => Self::Passive,
            8 => Self::Uncalibrated,
            9 => Self::Slave,
            other => Self::Reserved(other),
        }
    }

    /// The wire code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Initializing => 1,
            Self::Faulty => 2,
            Self::Disabled => 3,
            Self::Listening => 4,
            Self::PreMaster => 5,
            Self::Master => 6,
            Self::Passive => 7,
            Self::Uncalibrated => 8,
            Self::Slave => 9,
            Self::Reserved(code) => code,
        }
    }

    /// The standard's name; `None` for a reserved code.
    #[must_use]
    pub const fn name(self) -> Option<&'static str> {
        Some(match self {
            Self::Initializing => "INITIALIZING",
            Self::Faulty => "FAULTY",
            Self::Disabled => "DISABLED",
            Self::Listening => "LISTENING",
            Self::PreMaster => "PRE_MASTER",
            Self::Master => "MASTER",
            Self::Passive => "PASSIVE",
            Self::Uncalibrated => "UNCALIBRATED",
            Self::Slave => "SLAVE",
            Self::Reserved(_) => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn states_begin_at_1_and_every_code_comes_back() {
        let named: Vec<u8> = (0..=255).filter(|code| PortState::from_wire(*code).name().is_some()).collect();
        assert_eq!(named, [1, 2, 3, 4, 5, 6, 7, 8, 9]);
        assert!((0..=255).all(|code| PortState::from_wire(code).code() == code));
        assert_eq!(PortState::from_wire(9).name(), Some("SLAVE"));
    }
}
