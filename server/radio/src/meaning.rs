//! The fixed list of what a value can mean.

use serde::{Deserialize, Serialize};

macro_rules! meanings {
    ($($(#[$doc:meta])* $variant:ident = $name:literal, $quantity:ident;)*) => {
        /// What a value means. Stored in SI unit of its quantity.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Meaning { $($(#[$doc])* $variant,)* }
        impl Meaning {
            /// All meanings, in the order of the documentation.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];
            /// The name used in setup files.
            pub const fn name(self) -> &'static str { match self { $(Self::$variant => $name,)* } }
            /// The quantity, which decides the units allowed.
            pub const fn quantity(self) -> Quantity { match self { $(Self::$variant => Quantity::$quantity,)* } }
            /// Finds a meaning by its name.
            pub fn parse(name: &str) -> Option<Self> { Self::ALL.iter().copied().find(|m| m.name() == name) }
        }
    };
}

/// Kinds of quantity; each has its SI unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Quantity {
    /// No unit.
    Plain,
    /// Seconds.
    Time,
    /// Pascal.
    Pressure,
    /// Kelvin.
    Temperature,
    /// m/s2.
    Acceleration,
    /// rad/s.
    AngularRate,
    /// Radians.
    Angle,
    /// Metres.
    Length,
    /// m/s.
    Speed,
    /// Volts.
    Voltage,
    /// dB or dBm.
    Decibel,
}

meanings! {
    /// Anything the crew wants to keep and see.
    Free = "free", Plain;
    /// Counts packets of a transmitter; wraps at its width.
    Sequence = "sequence", Plain;
    /// Clock aboard.
    OnboardTime = "onboard time", Time;
    /// Number of the transmitter.
    Transmitter = "transmitter", Plain;
    /// Static pressure.
    Pressure = "pressure", Pressure;
    /// Static pressure told as the height in the standard atmosphere that has it, above its 1013.25 hPa.
    PressureAltitude = "pressure altitude", Length;
    /// Temperature of the sensor.
    Temperature = "temperature", Temperature;
    /// Specific force along the nose (about +1 g standing on the pad).
    AxialSpecificForce = "axial specific force", Acceleration;
    /// Specific force across the nose, first axis.
    LateralSpecificForceY = "lateral specific force y", Acceleration;
    /// Specific force across the nose, second axis.
    LateralSpecificForceZ = "lateral specific force z", Acceleration;
    /// Angular rate about the nose.
    RollRate = "roll rate", AngularRate;
    /// Angular rate across, first axis.
    PitchRate = "pitch rate", AngularRate;
    /// Angular rate across, second axis.
    YawRate = "yaw rate", AngularRate;
    /// Tilt of the body from vertical.
    Tilt = "tilt", Angle;
    /// WGS84 latitude.
    Latitude = "latitude", Angle;
    /// WGS84 longitude.
    Longitude = "longitude", Angle;
    /// GNSS height above the WGS84 ellipsoid.
    HeightEllipsoid = "height above ellipsoid", Length;
    /// GNSS height above mean sea level.
    HeightAmsl = "height above sea level", Length;
    /// GNSS velocity east.
    VelocityEast = "velocity east", Speed;
    /// GNSS velocity north.
    VelocityNorth = "velocity north", Speed;
    /// GNSS velocity up.
    VelocityUp = "velocity up", Speed;
    /// GNSS velocity down.
    VelocityDown = "velocity down", Speed;
    /// GNSS speed over ground.
    GroundSpeed = "ground speed", Speed;
    /// GNSS course over ground, true.
    Course = "course", Angle;
    /// GNSS fix: 0 none; 1 or more valid.
    FixValid = "fix", Plain;
    /// Satellites used.
    Satellites = "satellites", Plain;
    /// Horizontal dilution of precision.
    HorizontalDilution = "horizontal dilution", Plain;
    /// Horizontal spread as stated, one sigma.
    HorizontalSpread = "horizontal spread", Length;
    /// Vertical spread as stated, one sigma.
    VerticalSpread = "vertical spread", Length;
    /// The vehicle's own height above its own zero.
    OwnHeight = "own height", Length;
    /// The vehicle's own climb rate.
    OwnClimb = "own climb rate", Speed;
    /// The vehicle says that it has lifted off.
    SaysLiftoff = "says liftoff", Plain;
    /// The vehicle says that the motor has burnt out.
    SaysBurnout = "says burnout", Plain;
    /// The vehicle says that apogee has passed.
    SaysApogee = "says apogee", Plain;
    /// The vehicle says that it has landed.
    SaysLanding = "says landing", Plain;
    /// The body says that it is free.
    SaysFreed = "says freed", Plain;
    /// Deployment channel: igniter circuit closed.
    Continuity = "continuity", Plain;
    /// Deployment channel: armed (1) or safe (0).
    Armed = "armed", Plain;
    /// Deployment channel: commanded.
    Commanded = "commanded", Plain;
    /// Deployment channel: fired.
    Fired = "fired", Plain;
    /// Battery.
    BatteryVoltage = "battery voltage", Voltage;
    /// Storage left aboard, 0 to 1.
    StorageLeft = "storage left", Plain;
    /// Restarts counted aboard.
    RestartCount = "restart count", Plain;
    /// Received signal strength, dBm.
    Rssi = "rssi", Decibel;
    /// Signal to noise, dB.
    Snr = "snr", Decibel;
}
