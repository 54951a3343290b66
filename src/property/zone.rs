//! The time zone of a place, found without a connection.

use std::sync::LazyLock;

use tzf_rs::DefaultFinder;

use super::Position;

/// Time zones by place (boundaries of OpenStreetMap, Open Database License, within the `tzf-dist` crate).
static ZONES: LazyLock<DefaultFinder> = LazyLock::new(DefaultFinder::new);

/// The IANA name of the zone in which a place lies; empty where none is known.
pub fn zone_at(position: Position) -> &'static str {
    ZONES.get_tz_name(position.longitude_deg, position.latitude_deg)
}
