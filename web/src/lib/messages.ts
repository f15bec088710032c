// Generated from the station's message types (server/station/src/messages.rs) by a test: do not edit.
// Refresh: LOFTWATCH_WRITE_TYPES=1 cargo test -p loftwatch-station typescript

/** What the station sends. */
export type Message = { "kind": "now" } & Now | { "kind": "picture" } & Picture | { "kind": "story" } & Story | { "kind": "pong" } & Pong;

/** What a page sends. `play` and `seek` are understood on the socket of a replay only. */
export type Ask = { "kind": "ping",
/** Any number, returned in the answer. */
id: number,
/** The page's own clock, ms, returned in the answer. */
sent_ms: number } | { "kind": "play",
/** Times real time. */
speed: number } | { "kind": "seek",
/** Station time, s. */
t_s: number };

/** The answer to a ping. */
export type Pong = {
/** As asked. */
id: number,
/** As asked. */
sent_ms: number,
/** Station time at which it was answered, s. */
t_s: number };

/** A distribution by five quantiles: `p05` to `p95` is the 90 % interval, `p25` to `p75` the 50 % one.
 * The figures are rounded to about a fiftieth of the 90 % interval. */
export type Q = {
/** 5 % quantile. */
p05: number,
/** 25 % quantile. */
p25: number,
/** Median. */
p50: number,
/** 75 % quantile. */
p75: number,
/** 95 % quantile. */
p95: number };

/** The newest state. When all of it would be longer than 4 kB, the least urgent parts are left out (said in
 * `cues_left_out` and `headsups_left_out`); `picture` always has them all. */
export type Now = {
/** Whether this is happening or is played again. */
mode: Mode,
/** Local time of liftoff (or of opening) of the flight that is played again, as `14:07`; `null` when live. */
replay_of: string | null,
/** Station time of this message (live), or of the instant that is played again. */
t_s: number,
/** 1 when live; the rate of a replay, 0 when it is paused. */
speed: number,
/** UTC, s since 1970. */
utc_s: number,
/** Number of the flight, 0 when there is none. */
flight: number,
/** Its name, empty if not named. */
flight_name: string,
/** Name of the vehicle. */
vehicle: string,
/** Name of the site. */
site: string,
/** First motion, station time. */
liftoff_t_s: number | null,
/** When the flight ended, station time; it is shown until the next one opens. */
ended_t_s: number | null,
/** All radios silent since, station time. */
silent_since_s: number | null,
/** Station time of the oldest input that is not on the disk though it was used; a slow disk has one for a moment now
 * and then. */
not_kept_since_s: number | null,
/** What is wrong with the disk; `null` when it follows. */
disk: Disk | null,
/** How long the room on the disk lasts at the pace of the last hour, s; `null` while that is more than a day. */
disk_room_s: number | null,
/** Bytes that the station has received since its start and lost, for want of room in memory while the disk took nothing. */
lost_bytes: number,
/** A figure older than this is stale: two expected intervals and one second, s. */
stale_after_s: number,
/** The bodies, in the order of the setup; the first is the vehicle. */
bodies: Array<BodyNow>,
/** Heads-ups that hold, most urgent first. */
headsups: Array<HeadsUpNow>,
/** How many further heads-ups hold. */
headsups_left_out: number,
/** Cues to come, soonest first, then those passed, newest first. */
cues: Array<CueNow>,
/** How many further cues there are. */
cues_left_out: number };

/** What is wrong with the disk that takes the inputs. */
export type Disk = "slow" | "full" | "read_only" | "locked" | "failing";

/** Whether something is happening or is played again. */
export type Mode = "live" | "replay";

/** One body. */
export type BodyNow = {
/** Name. */
name: string,
/** Whether it is still attached to its parent; then its figures are its parent's and `null` here. */
attached: boolean,
/** Whether it has a transmitter of its own. */
transmitter: boolean,
/** Where in the flight it is. */
phase: Phase,
/** Planned descent state that fits best, once descending. */
descent: Descent | null,
/** Newest good frame of its transmitter, station time. */
heard_t_s: number | null,
/** Seconds since the newest measurement that was used: physics carried the figures that long. */
carried_s: number,
/** Instant of the figures below, station time. */
at_t_s: number | null,
/** Height above the pad, m. */
height_m: Q | null,
/** Vertical speed, m/s, up positive. */
climb_mps: Q | null,
/** Speed through the air, m/s. */
airspeed_mps: Q | null,
/** Speed over the ground, m/s. */
ground_speed_mps: Q | null,
/** Path angle through the air from vertical, rad; `null` when not known. */
lean_rad: Q | null,
/** East and north of the pad, m. */
east_north_m: [number, number] | null,
/** 90 % radius of that position, m. */
position_radius_m: number | null,
/** Mach number. */
mach: number | null,
/** Apogee as predicted, or as it was once passed. */
apogee: ApogeeNow | null,
/** Landing in the planned case. */
landing: LandingNow | null,
/** Last position from its satellite receiver. */
fix: FixNow | null,
/** Predicted knots of the next seconds: station time, height (m), climb (m/s), airspeed (m/s). */
next: Array<[number, number, number, number]> };

/** Where in the flight a body is. */
export type Phase = "waiting" | "joined" | "powered" | "coasting" | "descending" | "down";

/** How a body comes down. */
export type Descent = "drogue" | "main" | "streamer" | "tumbling" | "bare" | "ballistic";

/** Apogee of a body. */
export type ApogeeNow = {
/** Height above the pad, m. */
height_m: Q,
/** Station time. */
t_s: Q,
/** Airspeed there, m/s. */
airspeed_mps: Q,
/** Ground speed there, m/s. */
ground_speed_mps: Q,
/** The drag-free sum: height, m. */
hand_height_m: number,
/** The drag-free sum: station time. */
hand_t_s: number };

/** Landing of a body in the planned case. */
export type LandingNow = {
/** Station time. */
t_s: Q,
/** Middle of the area, east and north of the pad, m; `null` when the heading is not known. */
east_north_m: [number, number] | null,
/** Speed downwards at landing, m/s. */
descent_mps: Q };

/** A position from a satellite receiver aboard. */
export type FixNow = {
/** WGS84, degrees, north positive. */
latitude_deg: number,
/** WGS84, degrees, east positive. */
longitude_deg: number,
/** When it was received, station time. */
t_s: number };

/** A heads-up that holds. */
export type HeadsUpNow = {
/** Stable key. */
key: string,
/** How urgent. */
level: Level,
/** Index of the cue (order of the setup), if it is about one. */
cue: number | null,
/** Index of the body. */
body: number,
/** The figure, in `unit`. */
figure: number,
/** The limit, in `unit`. */
limit: number | null,
/** SI unit of both. */
unit: string,
/** Where the limit comes from. */
limit_from: string,
/** The words to say, metric. */
words: string };

/** How urgent a heads-up is: amber or red. */
export type Level = "look" | "act";

/** A cue, as predicted or passed. */
export type CueNow = {
/** Index in the order of the setup. */
cue: number,
/** Name. */
name: string,
/** What it does. */
kind: CueKind,
/** Index of the body that acts. */
body: number,
/** Its moment, station time. */
t_s: Q,
/** Height above the pad then, m. */
height_m: number,
/** Airspeed then, m/s. */
airspeed_mps: Q,
/** The limit, SI. */
limit: number | null,
/** Of which quantity. */
limit_of: LimitOf | null,
/** That quantity as predicted, SI. `null` without a limit, and where the limit is one of airspeed: then it is
 * `airspeed_mps`. */
figure: Q | null,
/** Where the limit comes from; empty without one. */
limit_from: string,
/** Probability, 0 to 1, that the limit is exceeded. */
over_limit: number | null,
/** Whether its moment has passed. */
passed: boolean };

/** What a cue does. */
export type CueKind = "release" | "separation" | "chute" | "staging";

/** What a cue's limit is about. */
export type LimitOf = "airspeed" | "dynamic_pressure" | "opening_load";

/** What is predicted. */
export type Picture = {
/** Station time. */
t_s: number,
/** Number of the flight, 0 when there is none. */
flight: number,
/** Predicted paths, one a body that has one. */
paths: Array<PathNow>,
/** Landing areas by body and case. */
landings: Array<LandingArea>,
/** All cues, in the order of the setup. */
cues: Array<CueNow>,
/** All heads-ups that hold, most urgent first. */
headsups: Array<HeadsUpNow> };

/** The predicted path of one body. */
export type PathNow = {
/** Index of the body. */
body: number,
/** From now to the ground. */
knots: Array<KnotNow> };

/** One knot of a predicted path. */
export type KnotNow = {
/** Station time. */
t_s: number,
/** Height above the pad, m. */
height_m: Q,
/** Vertical speed, m/s. */
climb_mps: Q,
/** Airspeed, m/s. */
airspeed_mps: Q,
/** East and north of the pad, median, m. */
east_north_m: [number, number],
/** Height if nothing deploys, median, m. */
bare_height_m: number };

/** Where and when a body comes down in one case. */
export type LandingArea = {
/** Index of the body. */
body: number,
/** What is assumed. */
case: Case,
/** Station time. */
t_s: Q,
/** Speed downwards at landing, m/s. */
descent_mps: Q,
/** The area. */
area: Area };

/** What is assumed to come out. */
export type Case = "planned" | "main_at_apogee" | "drogue_only" | "tumbling" | "ballistic";

/** An area on the ground, m east and north of the pad. */
export type Area = { "ellipse": {
/** Middle. */
centre_m: [number, number],
/** Covariance: east-east, east-north, north-north, m2. */
covariance_m2: [number, number, number] } } | { "ring": {
/** Middle. */
centre_m: [number, number],
/** Distance from the middle, m. */
radius_m: Q } };

/** What has happened, how the radio is heard, which links are up. */
export type Story = {
/** Number of the flight, 0 when there is none. */
flight: number,
/** Events by time; withdrawn ones are left out. */
events: Array<EventNow>,
/** How each transmitter is heard through each receiver. */
radio: Array<RadioNow>,
/** The links. */
links: Array<LinkNow>,
/** Where the pieces lie. */
ground: GroundNow };

/** Something that happened. */
export type EventNow = {
/** Number within the flight; a correction keeps it. */
id: number,
/** Index of the body. */
body: number,
/** What: `liftoff`, `rail_exit`, `burnout`, `stage_ignition`, `stage_burnout`, `apogee`, `freed`, `first_chute`,
 * `main_chute`, `landing`, `reboot`, `mark`, or a newer word. */
event: string,
/** The trade's word, a cue's name, or what the crew wrote. */
label: string,
/** Station time. */
t_s: number,
/** Spread of it, one standard deviation, s. */
sd_s: number,
/** How it is known. */
origin: Origin,
/** Who marked it. */
who: string | null };

/** How an event is known. */
export type Origin = "reported" | "detected" | "marked";

/** How one transmitter is heard through one receiver. */
export type RadioNow = {
/** Name of the receiver. */
receiver: string,
/** Name of the body. */
body: string,
/** Newest good frame, station time. */
heard_t_s: number | null,
/** Loss over 10 s, 0 to 1; `null` when not known. */
loss: number | null,
/** Signal, dBm, where a layout gives it. */
rssi_dbm: number | null,
/** Signal to noise, dB, where a layout gives it. */
snr_db: number | null,
/** Packets of the last 10 s, oldest first: `1` heard, `0` lost; at most 50. */
ticks: string,
/** Good frames so far. */
good: number,
/** Wrong frames of the receiver so far, whoever sent them. */
wrong: number,
/** The same by reason. */
wrong_by: Array<WrongNow> };

/** Wrong frames of one reason. */
export type WrongNow = {
/** The reason, as in the lines of a rerun (`wrong_kind`). */
reason: string,
/** How many. */
count: number };

/** A link. */
export type LinkNow = {
/** Name. */
name: string,
/** Whether it is up. */
up: boolean,
/** Why it is not, or how it is. */
reason: string };

/** Where the pieces are. Nothing in it says that the range is open: that is for its officer. */
export type GroundNow = {
/** What a compass shows at the pad; `null` where the model says nothing (another year, near a magnetic pole). */
compass: CompassNow | null,
/** The pieces, in the order of the setup; empty before the first is down. */
pieces: Array<PieceNow> };

/** Magnetic declination: a compass shows the true bearing less this. */
export type CompassNow = {
/** Declination, degrees, east positive. */
declination_deg: number,
/** One standard deviation of it by the model's own error model, degrees. */
sd_deg: number,
/** Whether the field is so weak there that a compass is to be used with caution (below 6,000 nT horizontally). */
caution: boolean,
/** The model, as `WMM2025`. */
model: string,
/** The day for which it was computed, as `2026-11-26` (UTC). */
date: string };

/** One piece. */
export type PieceNow = {
/** Index of the body. */
body: number,
/** Index of the body that carries it, when nothing says that it was freed. */
carried_by: number | null,
/** Whether it (or what carries it) is known to be down. */
down: boolean,
/** Where it is; `null` when that is not known, and for a piece that is carried. */
place: PlaceNow | null,
/** Charges that are not confirmed fired: to be treated as live. */
charges: Array<ChargeNow> };

/** A place and its way from the pad: the geodesic on WGS84 (Karney 2013). */
export type PlaceNow = {
/** WGS84, degrees, north positive. */
latitude_deg: number,
/** WGS84, degrees, east positive. */
longitude_deg: number,
/** 90 % radius, m; `null` for a bare fix of which nobody knows how good it is. */
radius_m: number | null,
/** From the pad, m. */
distance_m: number,
/** From the pad, degrees from true north, clockwise. */
true_deg: number,
/** From the pad, degrees as a compass there shows. */
compass_deg: number | null };

/** A charge that is not confirmed fired. */
export type ChargeNow = {
/** Name of its cue, or of its channel where no cue has it. */
name: string,
/** What the radio last said of it. */
said: ChargeSaid };

/** What the radio last said of a charge. */
export type ChargeSaid = "nothing" | "not_fired" | "commanded" | "armed";

/** `GET /api/about`. */
export type About = {
/** Version of the program. */
version: string,
/** Version of the engine that made the figures. */
engine: string,
/** Sentences that stand on every page that could be taken for more than advice. */
cautions: Array<string>,
/** Whether this browser may act (mark, name, end, change the setup), or only look. */
can_act: boolean,
/** Under which name it has joined as crew; `null` when it has not. */
who: string | null,
/** Whether it runs on the station's own machine: it then joins without the code, and may see it. */
own_machine: boolean,
/** Whether there are map tiles, at `/map.pmtiles`. */
map: boolean };

/** `GET /api/network`: how the station is reached. */
export type Network = {
/** Addresses over plain HTTP, the best for others first. */
http: Array<string>,
/** Those that are served over HTTPS, too: private ones alone; empty where there is none. */
https: Array<string>,
/** Host and port by name, where the network carries names; `null` where only the station's own machine can reach it. */
name: string | null,
/** SHA-256 of the authority's certificate, as pairs of hexadecimal digits. */
fingerprint: string | null,
/** Whether this was asked over HTTPS. */
secure: boolean };

/** `GET /api/site`: what was told. */
export type SiteInfo = {
/** Name of the site. */
site: string,
/** Name of the vehicle. */
vehicle: string,
/** The pad, WGS84, degrees, north positive. */
latitude_deg: number,
/** The pad, WGS84, degrees, east positive. */
longitude_deg: number,
/** The pad above mean sea level, m. */
elevation_m: number,
/** Named areas on the ground. */
areas: Array<AreaInfo>,
/** The bodies in order. */
bodies: Array<BodyInfo>,
/** Keys whose value is a default, with the value in words. */
defaults: Array<[string, string]>,
/** The cues in order. */
cues: Array<CueInfo> };

/** A named area. */
export type AreaInfo = {
/** Name. */
name: string,
/** What it is for. */
kind: AreaKind,
/** East and north of the pad, m. */
points_m: Array<[number, number]>,
/** Whether it is a polygon (else a line). */
closed: boolean };

/** What an area is for. */
export type AreaKind = "people" | "cars" | "road" | "landing";

/** A body. */
export type BodyInfo = {
/** Name. */
name: string,
/** Index of the body it is attached to until freed; `null` for the vehicle. */
parent: number | null };

/** A cue. */
export type CueInfo = {
/** Name. */
name: string,
/** What it does. */
kind: CueKind };

/** One flight, as listed by `GET /api/flights`. */
export type FlightInfo = {
/** Number. */
number: number,
/** Name, empty if not named. */
name: string,
/** Name of the vehicle. */
vehicle: string,
/** When it opened, station time. */
opened_s: number,
/** First motion, station time. */
liftoff_s: number | null,
/** When it ended, station time; `null` while it is open. */
ended_s: number | null,
/** Greatest height of the vehicle above the pad, m: apogee as last predicted once it had passed. */
apogee_m: number | null,
/** From first motion to the vehicle's landing (to its end, or to now, when no landing was seen), s. */
duration_s: number | null };

/** `GET /api/flights/N`. */
export type FlightDetail = {
/** What was told for this flight. */
site: SiteInfo,
/** Number. */
number: number,
/** Name, empty if not named. */
name: string,
/** Name of the vehicle. */
vehicle: string,
/** When it opened, station time. */
opened_s: number,
/** First motion, station time. */
liftoff_s: number | null,
/** When it ended, station time; `null` while it is open. */
ended_s: number | null,
/** Greatest height of the vehicle above the pad, m: apogee as last predicted once it had passed. */
apogee_m: number | null,
/** From first motion to the vehicle's landing (to its end, or to now, when no landing was seen), s. */
duration_s: number | null };

/** `GET /api/flights/N/track?from_s=&to_s=&most=`: the past, decimated so that extremes are kept. */
export type Track = {
/** One a body that has estimates. */
bodies: Array<TrackBody> };

/** An ended flight's path with hindsight. */
export type HindsightTrack = {
/** How many states it has; `null`: it is being computed now, ask again in a second. */
states: number | null,
/** The path, decimated as a track is. */
track: Track | null };

/** The past of one body, column by column. A `null` is a gap in the line. */
export type TrackBody = {
/** Index of the body. */
body: number,
/** Station time. */
t_s: Array<number>,
/** Median height above the pad, m. */
height_m: Array<number | null>,
/** Median vertical speed, m/s. */
climb_mps: Array<number | null>,
/** Median airspeed, m/s. */
airspeed_mps: Array<number | null>,
/** East of the pad, m. */
east_m: Array<number | null>,
/** North of the pad, m. */
north_m: Array<number | null> };

/** Any answer that is an error: what happened, what was kept, what to do. */
export type Problem = {
/** What happened. */
error: string,
/** What was kept. */
kept: string,
/** What to do. */
hint: string };

/** `POST /api/act`: what a crew member does. `who` counts from the station's own machine only; who has joined acts under
 * the name given then. */
export type Act = { "kind": "mark",
/** What happened, in a few words. */
label: string,
/** When, station time; now if left out. */
t_s: number | null,
/** Who marks it; may be empty. */
who: string } | { "kind": "correct",
/** Number of the flight. */
flight: number,
/** Number of the mark, as its event has it. */
id: number,
/** What happened, in a few words. */
label: string,
/** When, station time. */
t_s: number,
/** Who corrects it; may be empty. */
who: string } | { "kind": "withdraw",
/** Number of the flight. */
flight: number,
/** Number of the mark. */
id: number,
/** Who takes it back; may be empty. */
who: string } | { "kind": "name",
/** The name. */
name: string,
/** Who names it; may be empty. */
who: string } | { "kind": "end",
/** Number of the flight, so that a press that comes late ends no other one; any if left out. */
flight: number | null,
/** Who ends it; may be empty. */
who: string };

/** `POST /api/crew/join`: answered with a cookie that makes the browser crew. */
export type Join = {
/** The code that is shown at the station; not asked on the station's own machine. */
code: string,
/** The name that stands beside what is done. */
who: string };

/** `GET /api/crew/code`, and the answer of `POST /api/crew/new-code`; on the station's own machine only. */
export type CrewCode = {
/** The code, in two groups. */
code: string,
/** Those who have joined. */
crew: Array<CrewMember> };

/** A browser that has joined. */
export type CrewMember = {
/** The name given. */
who: string,
/** When, station time. */
joined_s: number };

/** One thing that the crew did, as listed by `GET /api/crew/log`, newest first. */
export type Deed = {
/** When, UTC, s since 1970. */
utc_s: number,
/** Who; empty where no name was given. */
who: string,
/** What. */
did: DeedKind,
/** Label of the mark, name of the flight; else empty. */
what: string };

/** What the crew can do. */
export type DeedKind = "mark" | "correct" | "withdraw" | "name" | "end" | "setup";

/** `GET /api/setup`, for crew: the setup file. */
export type SetupText = {
/** Its name, without the folder. */
name: string,
/** All of its text. */
text: string,
/** Tells this state of it from others. */
edition: string,
/** Whether the text is wrong and an earlier one holds. */
wrong: boolean };

/** `POST /api/setup/check` and `POST /api/setup`: a text that is to become the setup file. */
export type SetupWanted = {
/** All of its text. */
text: string,
/** The `edition` of the text that it was made from. */
edition: string,
/** Who wants it; counts from the station's own machine only, like that of an act. */
who: string };

/** What a setup text comes to. */
export type SetupVerdict = {
/** All mistakes, in the order of the lines; nothing of a text with mistakes is taken. */
mistakes: Array<SetupMistake>,
/** What differs from the setup in force. */
changes: Array<SetupDifference>,
/** What may not be meant. */
remarks: Array<string> };

/** A mistake in a setup text. */
export type SetupMistake = {
/** Line, from 1. */
line: number,
/** Column in characters, from 1. */
column: number,
/** Dotted key; empty where there is none. */
key: string,
/** What was expected. */
expected: string,
/** What was found. */
found: string,
/** What it probably is, or what to do. */
hint: string | null };

/** A key whose value differs. */
export type SetupDifference = {
/** Dotted key. */
key: string,
/** Value before, in words; empty if there was none. */
old: string,
/** Value after, in words; empty if there is none. */
new: string,
/** Whether it does not change between liftoff and landing: then it holds afterwards. */
on_the_ground: boolean };

/** `GET /api/radio/frames`: the newest frames of every link, cut and decoded with the setup in force. */
export type RadioFrames = {
/** At most a hundred of each link, the newest first. */
frames: Array<RadioFrame> };

/** `GET /api/radio/guess`: what the newest bytes of every link look like. Offered, never assumed. */
export type RadioGuesses = {
/** In the order of the setup. */
links: Array<RadioGuess> };

/** What the newest bytes of a link look like. */
export type RadioGuess = {
/** Name of the link. */
link: string,
/** How many bytes were looked at. */
bytes: number,
/** Framings that fit, the likeliest first; none if they look like nothing known. */
framings: Array<FramingGuess>,
/** What the bytes say of the baud rate, where no framing fits and they say something. */
rate: string | null };

/** A framing that some bytes fit. */
export type FramingGuess = {
/** What they look like, for people. */
words: string,
/** The lines for the setup file. */
keys: string };

/** Bytes between two delimiters, and what became of them. */
export type RadioFrame = {
/** Name of the link. */
link: string,
/** When its last byte came, station time. */
t_s: number,
/** Its bytes in hexadecimal digits: of a good frame the payload, of a wrong one as received; the first 512. */
hex: string,
/** How many bytes there are. */
length: number,
/** Name of the layout that fits, if one does. */
layout: string | null,
/** Why it is wrong; `null` for a good one. */
wrong: string | null,
/** What it says. */
fields: Array<FrameField>,
/** What could not be read. */
complaints: Array<string> };

/** A value of a frame. */
export type FrameField = {
/** Name, with its place in a row in brackets. */
name: string,
/** Value with its unit: SI for known meanings (angles in degrees), as declared for free ones. Empty for what is passed
 * over. */
value: string,
/** First byte in the payload; `null` where it has no place of its own. */
from: number | null,
/** One past its last byte. */
to: number | null };

/** `POST /api/radio/try`: a text for the setup file, to be tried on the newest frames. Nothing is changed. */
export type RadioTry = {
/** All of it. */
text: string };

/** What a text for the setup file makes of the newest frames. */
export type RadioTried = {
/** What is wrong with the text; then there are no frames. */
mistakes: Array<SetupMistake>,
/** As in `RadioFrames`. */
frames: Array<RadioFrame> };
