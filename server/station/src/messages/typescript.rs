//! Writes the message types as TypeScript and holds the committed file to them.
//!
//! `LOFTWATCH_WRITE_TYPES=1 cargo test -p loftwatch-station typescript` refreshes the file.

use std::path::Path;

use ts_rs::{Config, TS};

use loftwatch_export::audit;

use super::*;
use crate::shared::Disk;

fn declare<T: TS>(text: &mut String, config: &Config) {
    if let Some(docs) = T::docs() {
        text.push_str(&docs);
    }
    text.push_str("export ");
    text.push_str(&T::decl(config));
    text.push_str("\n\n");
}

/// One-line comments in one line, nothing at the ends of lines.
fn tidy(text: &str) -> String {
    let text = text.replace("/**\n * ", "/** ").replace("\n */", " */").replace(", }", " }");
    let lines: Vec<&str> = text.trim_end().lines().map(str::trim_end).collect();
    lines.join("\n") + "\n"
}

fn generated() -> String {
    // JSON has one kind of number; the whole numbers here stay below 2^53.
    let config = Config::new().with_large_int("number");
    let mut text = String::from(
        "// Generated from the station's message types (server/station/src/messages.rs) by a test: do not edit.\n\
         // Refresh: LOFTWATCH_WRITE_TYPES=1 cargo test -p loftwatch-station typescript\n\n",
    );
    macro_rules! all { ($($type:ty),+ $(,)?) => { $(declare::<$type>(&mut text, &config);)+ }; }
    all!(
        Message,
        Ask,
        Pong,
        ShowNow,
        ShowWanted,
        TakenIn,
        Q,
        Now,
        Disk,
        Mode,
        BodyNow,
        PhaseName,
        DescentName,
        ApogeeNow,
        LandingNow,
        FixNow,
        HeadsUpNow,
        LevelName,
        CueNow,
        CueKindName,
        LimitOfName,
        Picture,
        PathNow,
        KnotNow,
        LandingArea,
        CaseName,
        AreaNow,
        Story,
        EventNow,
        OriginName,
        RadioNow,
        WrongNow,
        LinkNow,
        PassingNow,
        GroundNow,
        CompassNow,
        PieceNow,
        PlaceNow,
        ChargeNow,
        ChargeSaid,
        About,
        Network,
        SiteInfo,
        AreaInfo,
        AreaKindName,
        BodyInfo,
        CueInfo,
        FlightInfo,
        FlightDetail,
        WeatherInfo,
        EventBrief,
        HeadsUpBrief,
        FootageInfo,
        RemarkWanted,
        Track,
        HindsightTrack,
        FileState,
        LogWanted,
        LogTime,
        LogColumn,
        LogSeen,
        LogFit,
        audit::Audits,
        audit::CueAudit,
        audit::Verdict,
        audit::Figure,
        audit::PredictionAudit,
        audit::Apogee,
        audit::Fan,
        audit::Checked,
        audit::Drag,
        audit::Impulse,
        TrackBody,
        Problem,
        Act,
        Join,
        CrewCode,
        CrewMember,
        Deed,
        DeedKind,
        SetupText,
        SetupWanted,
        SetupVerdict,
        SetupMistake,
        SetupDifference,
        RadioFrames,
        RadioGuesses,
        RadioGuess,
        FramingGuess,
        RadioFrame,
        FrameField,
        RadioTry,
        RadioTried,
        CheckNow,
        AcceptedNow,
        Prepared,
        CueWanted,
        StepInfo,
        FiguresForm,
        loftwatch_setup::Section,
        loftwatch_setup::Figure,
        loftwatch_setup::FigureKind,
        FiguresWanted,
        loftwatch_setup::Edit,
        VehicleCopy,
        Learned,
        LearnedFigure,
        VehicleWanted,
        loftwatch_prepare::Margin,
        loftwatch_prepare::Spread,
        loftwatch_prepare::Picture,
        loftwatch_prepare::Drawn,
        loftwatch_prepare::Band,
        loftwatch_prepare::Moment,
        loftwatch_prepare::GroundCase,
        loftwatch_prepare::Clash,
        loftwatch_prepare::Want,
        loftwatch_prepare::Condition,
        loftwatch_prepare::Lead,
        loftwatch_prepare::Safer,
        loftwatch_prepare::Plan,
    );
    tidy(&text)
}

#[test]
fn typescript_types_are_those_of_the_station() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../web/src/lib/messages.ts");
    let text = generated();
    if std::env::var_os("LOFTWATCH_WRITE_TYPES").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, &text).unwrap();
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        committed == text,
        "web/src/lib/messages.ts differs from the message types of the station.\n\
         hint: refresh it with `LOFTWATCH_WRITE_TYPES=1 cargo test -p loftwatch-station typescript` and commit it"
    );
}
