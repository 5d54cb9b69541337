//! What IEEE 802.1AS puts into organization extensions (802.1AS-2020 clauses 10.6.4 and 11.4.4, from memory; layouts
//! checked against an open-source implementation but for the gPTP-capable TLV, which is from memory).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// `organizationId` of IEEE 802.1.
pub const ORGANIZATION_ID: [u8; 3] = [0x00, 0x80, 0xC2];
/// `organizationSubType` of the Follow_Up information TLV.
pub const FOLLOW_UP_INFORMATION: [u8; 3] = [0, 0, 1];
/// `organizationSubType` of the message interval request TLV.
pub const MESSAGE_INTERVAL_REQUEST: [u8; 3] = [0, 0, 2];
/// `organizationSubType` of the gPTP-capable TLV.
pub const GPTP_CAPABLE: [u8; 3] = [0, 0, 4];

/// `ScaledNs`: 96 bits in units of 2⁻¹⁶ ns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct ScaledNs(pub i128);

/// Follow_Up information: how the grandmaster's rate and phase relate to this time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FollowUpInformation {
    /// `cumulativeScaledRateOffset`: (rate ratio to the grandmaster − 1) · 2⁴¹.
    pub cumulative_scaled_rate_offset: i32,
    /// `gmTimeBaseIndicator`: changes when the grandmaster's time source steps.
    pub gm_time_base_indicator: u16,
    /// `lastGmPhaseChange`.
    pub last_gm_phase_change: ScaledNs,
    /// `scaledLastGmFreqChange`: fractional frequency change · 2⁴¹.
    pub scaled_last_gm_freq_change: i32,
}

/// Message interval request. For each interval 127 asks to stop, 126 to go back to the initial value, and −128 to
/// leave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MessageIntervalRequest {
    /// `linkDelayInterval`, log2 s.
    pub link_delay_interval_log2_s: i8,
    /// `timeSyncInterval`, log2 s.
    pub time_sync_interval_log2_s: i8,
    /// `announceInterval`, log2 s.
    pub announce_interval_log2_s: i8,
    /// `flags`: bit 0 computeNeighborRateRatio, bit 1 computeMeanLinkDelay, bit 2 oneStepReceiveCapable (names from
    /// memory).
    pub flags: u8,
}

/// The gPTP-capable TLV: the sender says it runs 802.1AS.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GptpCapable {
    /// `logGptpCapableMessageInterval`, log2 s.
    pub log_gptp_capable_message_interval_log2_s: i8,
    /// `flags`.
    pub flags: u8,
}

impl FollowUpInformation {
    /// Offset 6 `cumulativeScaledRateOffset`, 10 `gmTimeBaseIndicator`, 12 `lastGmPhaseChange`,
    /// 24 `scaledLastGmFreqChange`.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        Ok(Self {
            cumulative_scaled_rate_offset: cursor.i32("cumulativeScaledRateOffset")?,
            gm_time_base_indicator: cursor.u16("gmTimeBaseIndicator")?,
            last_gm_phase_change: scaled_ns(cursor, "lastGmPhaseChange")?,
            scaled_last_gm_freq_change: cursor.i32("scaledLastGmFreqChange")?,
        })
    }
}

impl MessageIntervalRequest {
    /// Offset 6, 7, 8 the intervals, 9 `flags`, 10 reserved.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let this = Self {
            link_delay_interval_log2_s: cursor.i8("linkDelayInterval")?,
            time_sync_interval_log2_s: cursor.i8("timeSyncInterval")?,
            announce_interval_log2_s: cursor.i8("announceInterval")?,
            flags: cursor.u8("flags")?,
        };
        cursor.skip("reserved", 2)?;
        Ok(this)
    }
}

impl GptpCapable {
    /// Offset 6 `logGptpCapableMessageInterval`, 7 `flags`, 8 reserved.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let this = Self {
            log_gptp_capable_message_interval_log2_s: cursor.i8("logGptpCapableMessageInterval")?,
            flags: cursor.u8("flags")?,
        };
        cursor.skip("reserved", 4)?;
        Ok(this)
    }
}

/// Twelve octets, signed.
fn scaled_ns(cursor: &mut Cursor<'_>, field: &'static str) -> Result<ScaledNs, DecodeError> {
    let high = i128::from(cursor.i32(field)?);
    let low = i128::from(cursor.u64(field)?);
    Ok(ScaledNs((high << 64) | low))
}
