//! What the first slot of a sector, and again its seal, say about the sector.
//!
//! | payload bytes | what, little-endian |
//! | --- | --- |
//! | 0 to 3 | magic |
//! | 4, 5 | format version; magic and version stand here in every version |
//! | 6, 7 | bytes in a slot |
//! | 8 to 11 | bytes in a sector |
//! | 12, 13 | sectors in the ring |
//! | 14, 15 | which of them this is |
//! | 16, 17 | slots of its snapshot |
//! | 18, 19 | the sector in force before it, 65535 for none |
//! | 20 to 23 | age of that one |
//! | 24, 25 | slots used in that one |
//! | 26, 27 | how many of those were unreadable when this one was written |
//! | 28 to 55 | zero |

use super::geometry::Geometry;
use super::slot::{PAYLOAD, Payload, SLOT};

/// The version of the format that this code writes. It reads those before it too:
/// each has all the records of the one before, and more.
pub const VERSION: u16 = 8;
/// Begins every header and seal, of any version.
pub const MAGIC: [u8; 4] = *b"DWLG";
const NONE: u16 = u16::MAX;

/// Names the sector that was in force before, and how it looked at its end. If
/// it still looks so, it can stand in for a damaged snapshot.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Link {
    pub(super) sector: u16,
    pub(super) age: u32,
    pub(super) used: u16,
    pub(super) unreadable: u16,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Header {
    /// Written by a build of an older version: no newer record goes beside it.
    pub(super) older: bool,
    pub(super) snapshot: u16,
    pub(super) previous: Option<Link>,
}

/// Whose header or seal it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Judged {
    Ours(Header),
    Version(u16),
    Geometry { sector_bytes: u32, sectors: u16 },
    Foreign,
}

impl Header {
    pub(super) fn encode(self, geometry: &Geometry, sector: u16) -> Payload {
        let link = self.previous.unwrap_or(Link { sector: NONE, age: 0, used: 0, unreadable: 0 });
        let (bytes, age) = (geometry.sector_bytes, link.age);
        let [m0, m1, m2, m3] = MAGIC;
        let words = [
            u16::from_le_bytes([m0, m1]),
            u16::from_le_bytes([m2, m3]),
            VERSION,
            SLOT as u16,
            bytes as u16,
            (bytes >> 16) as u16,
            geometry.sectors,
            sector,
            self.snapshot,
            link.sector,
            age as u16,
            (age >> 16) as u16,
            link.used,
            link.unreadable,
        ];
        let mut payload = [0; PAYLOAD];
        for (pair, word) in payload.as_chunks_mut().0.iter_mut().zip(words) {
            *pair = word.to_le_bytes();
        }
        payload
    }

    pub(super) fn judge(payload: &Payload, geometry: &Geometry, sector: u16) -> Judged {
        if !payload.starts_with(&MAGIC) {
            return Judged::Foreign;
        }
        let version = u16_at(payload, 4);
        if version == 0 || version > VERSION {
            return Judged::Version(version);
        }
        let (sector_bytes, sectors) = (u32_at(payload, 8), u16_at(payload, 12));
        if sector_bytes != geometry.sector_bytes || sectors != geometry.sectors {
            return Judged::Geometry { sector_bytes, sectors };
        }
        if usize::from(u16_at(payload, 6)) != SLOT || u16_at(payload, 14) != sector {
            return Judged::Foreign;
        }
        let previous = match u16_at(payload, 18) {
            NONE => None,
            sector => Some(Link {
                sector,
                age: u32_at(payload, 20),
                used: u16_at(payload, 24),
                unreadable: u16_at(payload, 26),
            }),
        };
        Judged::Ours(Self { older: version < VERSION, snapshot: u16_at(payload, 16), previous })
    }
}

/// Two bytes at a place; zero beyond the end, where no field is.
fn u16_at(payload: &Payload, at: usize) -> u16 {
    let bytes = payload.get(at..).and_then(|rest| rest.first_chunk());
    bytes.map_or(0, |bytes| u16::from_le_bytes(*bytes))
}

fn u32_at(payload: &Payload, at: usize) -> u32 {
    let bytes = payload.get(at..).and_then(|rest| rest.first_chunk());
    bytes.map_or(0, |bytes| u32::from_le_bytes(*bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 3 };

    #[test]
    fn a_header_comes_back_as_it_was_written() {
        let link = Link { sector: 2, age: 0x0102_0304, used: 63, unreadable: 5 };
        let large = Geometry { sector_bytes: 0x0002_1000, ..GEOMETRY };
        for geometry in [GEOMETRY, large] {
            for previous in [None, Some(link)] {
                let header = Header { older: false, snapshot: 40, previous };
                let payload = header.encode(&geometry, 1);
                assert_eq!(Header::judge(&payload, &geometry, 1), Judged::Ours(header));
                assert_eq!(Header::judge(&payload, &geometry, 2), Judged::Foreign);
            }
        }
    }

    #[test]
    fn m4_another_version_is_named_before_anything_else_is_read() {
        let header = Header { older: false, snapshot: 0, previous: None };
        let mut payload = header.encode(&GEOMETRY, 0);
        payload[4] = 1;
        let older = Header { older: true, ..header };
        assert_eq!(Header::judge(&payload, &GEOMETRY, 0), Judged::Ours(older));
        for version in [0, VERSION + 1, 0x0301] {
            payload[4..6].copy_from_slice(&version.to_le_bytes());
            assert_eq!(Header::judge(&payload, &GEOMETRY, 0), Judged::Version(version));
        }
        payload[6..].fill(0xee);
        assert_eq!(Header::judge(&payload, &GEOMETRY, 0), Judged::Version(0x0301));
        payload[0] ^= 1;
        assert_eq!(Header::judge(&payload, &GEOMETRY, 0), Judged::Foreign);
    }

    #[test]
    fn another_geometry_is_named() {
        let payload = Header { older: false, snapshot: 0, previous: None }.encode(&GEOMETRY, 0);
        let other = Geometry { sectors: 2, ..GEOMETRY };
        assert_eq!(
            Header::judge(&payload, &other, 0),
            Judged::Geometry { sector_bytes: 4096, sectors: 3 }
        );
    }
}
