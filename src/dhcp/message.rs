//! UDP payload to a message.

use std::net::Ipv4Addr;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::units::MacAddress;

/// The client's UDP port.
pub const CLIENT_PORT: u16 = 68;
/// The server's UDP port.
pub const SERVER_PORT: u16 = 67;

/// What stands before the options (RFC 2131 section 3).
const MAGIC_COOKIE: u32 = 0x6382_5363;

/// A DHCP message; options that are not named here are passed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// `op`: 1 to the server, 2 to the client.
    pub op: u8,
    /// `xid`, which joins question and answer.
    pub xid: u32,
    /// `ciaddr`, the address that the client has; 0.0.0.0 where none.
    pub client_address: Ipv4Addr,
    /// `yiaddr`, the address that the client gets; 0.0.0.0 where none.
    pub your_address: Ipv4Addr,
    /// `chaddr`; `None` where the hardware is not Ethernet.
    pub client_mac: Option<MacAddress>,
    /// Option 53 `DHCP message type`; `None` for BOOTP.
    pub message_type: Option<MessageType>,
    /// Option 12 `Host Name`; octets that are not UTF-8 are replaced.
    pub host_name: Option<String>,
    /// Option 50 `Requested IP Address`.
    pub requested_address: Option<Ipv4Addr>,
    /// Option 54 `Server Identifier`.
    pub server_identifier: Option<Ipv4Addr>,
    /// Option 61 `Client-identifier`, its type octet first.
    pub client_identifier: Option<Vec<u8>>,
    /// Whether the options end with option 255, as they must.
    pub options_end: bool,
}

impl Message {
    /// The address that the client holds after this message: acknowledged, or its own.
    #[must_use]
    pub fn assigned_address(&self) -> Option<Ipv4Addr> {
        let address = match self.message_type {
            Some(MessageType::Ack) if !self.your_address.is_unspecified() => self.your_address,
            _ => self.client_address,
        };
        (!address.is_unspecified()).then_some(address)
    }
}

/// Option 53 (RFC 2132 section 9.6).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MessageType {
    /// 1 DHCPDISCOVER.
    Discover,
    /// 2 DHCPOFFER.
    Offer,
    /// 3 DHCPREQUEST.
    Request,
    /// 4 DHCPDECLINE.
    Decline,
    /// 5 DHCPACK.
    Ack,
    /// 6 DHCPNAK.
    Nak,
    /// 7 DHCPRELEASE.
    Release,
    /// 8 DHCPINFORM.
    Inform,
    /// Any other value.
    Other(u8),
}

impl MessageType {
    const fn from_wire(value: u8) -> Self {
        match value {
            1 => Self::Discover,
            2 => Self::Offer,
            3 => Self::Request,
            4 => Self::Decline,
            5 => Self::Ack,
            6 => Self::Nak,
            7 => Self::Release,
            8 => Self::Inform,
            other => Self::Other(other),
        }
    }
}

/// Decodes a UDP payload of port 67 or 68. Options that `sname` and `file` may hold in long messages are not read.
///
/// # Errors
/// Where the octets end inside the fixed part or the magic cookie is not there.
pub fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let op = cursor.u8("op")?;
    let [hardware, hardware_octets] = cursor.take("htype and hlen")?;
    cursor.skip("hops", 1)?;
    let xid = cursor.u32("xid")?;
    cursor.skip("secs and flags", 4)?;
    let client_address = Ipv4Addr::from(cursor.take::<4>("ciaddr")?);
    let your_address = Ipv4Addr::from(cursor.take::<4>("yiaddr")?);
    cursor.skip("siaddr and giaddr", 8)?;
    let mac = cursor.take("chaddr")?;
    cursor.skip("rest of chaddr, sname and file", 10 + 64 + 128)?;
    let offset = cursor.offset();
    let cookie = cursor.u32("magic cookie")?;
    if cookie != MAGIC_COOKIE {
        let (field, rule) = ("magic cookie", "options begin with 99.130.83.99");
        return Err(DecodeError::Value { field, offset, value: u64::from(cookie), rule });
    }
    let mut message = Message {
        op,
        xid,
        client_address,
        your_address,
        client_mac: ((hardware, hardware_octets) == (1, 6)).then_some(MacAddress(mac)),
        message_type: None,
        host_name: None,
        requested_address: None,
        server_identifier: None,
        client_identifier: None,
        options_end: false,
    };
    message.read_options(&mut cursor);
    Ok(message)
}

impl Message {
    /// Options up to the end mark, or as far as the octets go.
    fn read_options(&mut self, cursor: &mut Cursor<'_>) {
        while let Ok(option) = cursor.u8("option code") {
            match option {
                0 => continue,
                255 => {
                    self.options_end = true;
                    return;
                }
                _ => {}
            }
            let Ok(length) = cursor.u8("option length") else { return };
            let Ok(value) = cursor.slice("option", usize::from(length)) else { return };
            self.read_option(option, value);
        }
    }

    fn read_option(&mut self, option: u8, value: &[u8]) {
        let address = || <[u8; 4]>::try_from(value).ok().map(Ipv4Addr::from);
        match option {
            12 => {
                let name = String::from_utf8_lossy(value).trim_end_matches('\0').to_owned();
                self.host_name = Some(name).filter(|name| !name.is_empty());
            }
            50 => self.requested_address = address(),
            53 => {
                if let [value] = value {
                    self.message_type = Some(MessageType::from_wire(*value));
                }
            }
            54 => self.server_identifier = address(),
            61 => self.client_identifier = Some(value.to_vec()),
            _ => {}
        }
    }
}
