// Generated from the station's message types (server/station/src/messages.rs) by a test: do not edit.
// Refresh: LOFTWATCH_WRITE_TYPES=1 cargo test -p loftwatch-station typescript

/** What the station sends. */
export type Message = { "kind": "now" } & Now | { "kind": "picture" } & Picture | { "kind": "story" } & Story | { "kind": "show" } & ShowNow | { "kind": "pong" } & Pong;

/** What a page sends. `play`, `seek` and `step` are understood on the socket of a replay, and from the driver on that of
 * the show; the rest there alone. */
export type Ask = { "kind": "ping",
/** Any number, returned in the answer. */
id: number,
/** The page's own clock, ms, returned in the answer. */
sent_ms: number } | { "kind": "play",
/** Times real time. */
speed: number } | { "kind": "seek",
/** Station time, s. */
t_s: number } | { "kind": "step",
/** Whether onwards. */
forward: boolean } | { "kind": "drive",
/** Whether to take it. */
wheel: boolean };

/** The answer to a ping. */
export type Pong = {
/** As asked. */
id: number,
/** As asked. */
sent_ms: number,
/** Station time at which it was answered, s. */
t_s: number };

/** The show: a replay that one person drives and many watch. */
export type ShowNow = {
/** Number of the flight that is shown; `null` when there is no show. */
flight: number | null,
/** Its name, or the vehicle's. */
name: string,
/** First instant that can be gone to, station time. */
from_s: number,
/** The last one. */
to_s: number,
/** Who drives, as they joined; empty where no name was given; `null` when nobody drives. */
driver: string | null,
/** Whether it is this page. */
you_drive: boolean,
/** Whether this page may take the wheel. */
can_drive: boolean,
/** How many pages follow. */
followers: number,
/** Number of the flight that is in the air meanwhile, if one is: it is on Watch, and goes on undisturbed. */
in_the_air: number | null };

/** `POST /api/show`: begins a show, or ends it. Crew only. */
export type ShowWanted = {
/** Number of the flight to show; `null` ends the show. */
flight: number | null };

/** A flight file was taken in. */
export type TakenIn = {
/** Number of the flight here. */
number: number,
/** What it is called. */
label: string,
/** What is to be said about it; empty when all is as it was where it came from. */
remark: string };

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
/** When that instant was played, station time: a page goes on from there by its own clock, and so keeps in step with
 * all others. `null` when live. */
played_s: number | null,
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
/** Planned descent state that fits best, once descending, or climbing past a cue that opens something. */
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
/** Distance from the middle, m: bounds of the rings of least area; an inner bound of 0 is a disc. */
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
/** Links that are passed on to another station. */
passing: Array<PassingNow>,
/** Where the pieces lie. */
ground: GroundNow,
/** On the pad, and as it was last said there: what was heard and measured, beside its limits. */
readiness: Array<CheckNow>,
/** What the crew accepted for this flight. */
accepted: Array<AcceptedNow> };

/** Something that happened. */
export type EventNow = {
/** Number within the flight; a correction keeps it. */
id: number,
/** Index of the body. */
body: number,
/** What: `liftoff`, `rail_exit`, `burnout`, `stage_ignition`, `stage_burnout`, `third_ignition`, `third_burnout`,
 * `apogee`, `freed`, `first_chute`, `main_chute`, `landing`, `reboot`, `mark`, or a newer word. */
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
export type Origin = "reported" | "detected" | "inferred" | "marked";

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
reason: string,
/** Bytes received so far; `null` in a replay. */
bytes: number | null,
/** Bytes have been coming for seconds, and no frame ended. */
no_frame: boolean,
/** Wrong frames so far; `null` in a replay. */
wrong: number | null };

/** A link that is passed on to another station. */
export type PassingNow = {
/** Name of the link. */
link: string,
/** Where to. */
to: string,
/** Whether it is being passed on. */
up: boolean,
/** How it is, with the clock difference where it is known, or why not. */
words: string,
/** Pieces of bytes that the other station does not have on its disk yet; `null` before it has answered. */
pieces: number | null,
/** Their bytes. */
bytes: number | null };

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
/** Date of its liftoff, or of its opening without one, where the station stands: `2026-06-12`. */
day: string,
/** When it opened, station time. */
opened_s: number,
/** First motion, station time. */
liftoff_s: number | null,
/** When it ended, station time; `null` while it is open. */
ended_s: number | null,
/** Greatest height of the vehicle above the pad, m: apogee as last predicted once it had passed. */
apogee_m: number | null,
/** From first motion to the vehicle's landing (to its end, or to now, when no landing was seen), s. */
duration_s: number | null,
/** What it is called: its name, or the vehicle and the number. It is typed to delete the flight. */
label: string,
/** Name of the site. */
site_name: string,
/** Notes of the crew; empty when there are none. */
notes: string,
/** The weather as told. */
weather: WeatherInfo,
/** What happened to the vehicle, what came free, and the crew's marks, by time. */
events: Array<EventBrief>,
/** Heads-ups that held at some time after liftoff, the urgent ones first. */
headsups: Array<HeadsUpBrief>,
/** Some points of the vehicle's height: s since first motion, m above the pad. */
line: Array<[number, number]>,
/** Whether it is deleted: it can be had back until the station is next started. */
deleted: boolean,
/** Whether it came in a flight file from another station. */
from_elsewhere: boolean };

/** `GET /api/flights/N`. */
export type FlightDetail = {
/** What was told for this flight. */
site: SiteInfo,
/** How footage of it stands in time. */
footage: Array<FootageInfo>,
/** First instant that can be gone to, station time. */
from_s: number,
/** The last one. */
to_s: number,
/** Number. */
number: number,
/** Name, empty if not named. */
name: string,
/** Name of the vehicle. */
vehicle: string,
/** Date of its liftoff, or of its opening without one, where the station stands: `2026-06-12`. */
day: string,
/** When it opened, station time. */
opened_s: number,
/** First motion, station time. */
liftoff_s: number | null,
/** When it ended, station time; `null` while it is open. */
ended_s: number | null,
/** Greatest height of the vehicle above the pad, m: apogee as last predicted once it had passed. */
apogee_m: number | null,
/** From first motion to the vehicle's landing (to its end, or to now, when no landing was seen), s. */
duration_s: number | null,
/** What it is called: its name, or the vehicle and the number. It is typed to delete the flight. */
label: string,
/** Name of the site. */
site_name: string,
/** Notes of the crew; empty when there are none. */
notes: string,
/** The weather as told. */
weather: WeatherInfo,
/** What happened to the vehicle, what came free, and the crew's marks, by time. */
events: Array<EventBrief>,
/** Heads-ups that held at some time after liftoff, the urgent ones first. */
headsups: Array<HeadsUpBrief>,
/** Some points of the vehicle's height: s since first motion, m above the pad. */
line: Array<[number, number]>,
/** Whether it is deleted: it can be had back until the station is next started. */
deleted: boolean,
/** Whether it came in a flight file from another station. */
from_elsewhere: boolean };

/** The weather at the pad, as told. */
export type WeatherInfo = {
/** Degrees Celsius; `null` where a default was taken. */
temperature_c: number | null,
/** Station pressure, hPa; `null` where a default was taken. */
pressure_hpa: number | null,
/** Mean wind, m/s; `null` where none was told. */
wind_mps: number | null,
/** Where it comes from, degrees from true north; `null` where none was told. */
wind_from_deg: number | null };

/** Something that happened, for lists. */
export type EventBrief = {
/** As in `EventNow`. */
event: string,
/** The trade's word, a cue's name, or what the crew wrote. */
label: string,
/** Index of the body. */
body: number,
/** Station time. */
t_s: number };

/** A heads-up that held, for lists. */
export type HeadsUpBrief = {
/** The most urgent that it was. */
level: Level,
/** Its newest words. */
words: string };

/** How one camera's footage stands in time; the film itself stays on its owner's machine. */
export type FootageInfo = {
/** What the camera is called. */
camera: string,
/** Name of the file. */
file: string,
/** Frames a second as a fraction: numerator and denominator. */
rate: [number, number],
/** One or two moments: seconds of footage, and the station time that they show. Two tell its clock's drift. */
moments: Array<[number, number]> };

/** `POST /api/flights/N/remark`: something about a flight beside its figures. Crew only. */
export type RemarkWanted = { "kind": "name",
/** The name. */
name: string } | { "kind": "notes",
/** The text. */
notes: string } | { "kind": "footage",
/** One a camera. */
footage: Array<FootageInfo> } | { "kind": "delete",
/** Its `label`, typed. */
label: string } | { "kind": "restore" };

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

/** `GET /api/flights/N/files/NAME?progress`: how far a file is. */
export type FileState = {
/** Rows done. */
done: number,
/** Rows in all, as far as is known. */
total: number,
/** Whether it is whole. */
ready: boolean,
/** Its length, bytes, once it is. */
bytes: number | null,
/** SHA-256 of it, in hexadecimal, once it is. */
digest: string | null };

/** `POST /api/flights/N/log`: a log from the vehicle's own memory. Crew only. */
export type LogWanted = {
/** Name of its file. */
name: string,
/** All of it: CSV with a header row. */
text: string,
/** Whose memory it is; the vehicle's if not told. */
body: string | null,
/** Between columns. */
separator: string,
/** The column with its clock. */
time: LogTime,
/** The columns that are used. */
columns: Array<LogColumn>,
/** Whether it is kept with the flight; else it is only looked at. */
keep: boolean };

/** The column with the clock of a log. */
export type LogTime = {
/** As in the header row. */
column: string,
/** Its unit, such as `ms`. */
unit: string };

/** A column of a log. */
export type LogColumn = {
/** As in the header row. */
column: string,
/** `pressure`, `axial specific force`, `own height`, `own climb rate` or `tilt`. */
means: string,
/** Its unit. */
unit: string,
/** What stands for no value. */
missing: number | null };

/** A log as the station understands it. */
export type LogSeen = {
/** What it holds, in words. */
about: string,
/** Whose memory it is. */
body: string,
/** Rows that cannot be used. */
unusable: number,
/** The first rows, in SI. */
preview: Array<string>,
/** How it lies over the flight. */
fit: LogFit | null,
/** Why it lies nowhere. */
problem: string | null,
/** Whether it is kept: the path with hindsight is then computed with it. */
kept: boolean };

/** How a log lies over its flight. */
export type LogFit = {
/** Liftoff on its own clock, s. */
liftoff_s: number,
/** Correlation of its vertical speed with the flight's, 1 at best. */
correlation: number,
/** The greatest one more than two seconds away. */
next_best: number,
/** How far its height is off the flight's, root mean square, m. */
height_rms_m: number };

/** Both audits of a flight. */
export type Audits = {
/** Number of the flight. */
flight: number,
/** Which data everything is measured against, in words. */
measured_against: string,
/** Whether that is the path with hindsight. */
hindsight: boolean,
/** Of each cue, in the order of the setup. */
cues: Array<CueAudit>,
/** Of the predictions; `null` where no apogee is known. */
prediction: PredictionAudit | null,
/** Why there is none, or what else has to be said. */
remarks: Array<string> };

/** What became of one cue. */
export type CueAudit = {
/** Its name. */
cue: string,
/** `release`, `separation`, `chute`, `staging`. */
kind: string,
/** The body that acts. */
body: string,
/** The condition, in words, SI. */
when: string,
/** When the told condition and delay put it on the measured path, s since liftoff. */
wanted_s: number | null,
/** When it was commanded, s since liftoff: between the last packet without the command and the first one with it. */
commanded_after_s: number | null,
/** See `commanded_after_s`. */
commanded_by_s: number | null,
/** When it came, s since liftoff. */
came_s: number | null,
/** One standard deviation of that, s. */
came_sd_s: number | null,
/** `reported` by the vehicle, `detected` on the ground, `marked` by the crew. */
came_as: string | null,
/** Apogee minus that moment, s; negative after apogee. */
to_apogee_s: number | null,
/** How much later than wanted, s. */
late_s: number | null,
/** Height above the pad then, m. */
height_m: AuditFigure | null,
/** Vertical speed then, m/s, up positive. */
climb_mps: AuditFigure | null,
/** Speed through the air then, m/s. */
airspeed_mps: AuditFigure | null,
/** Dynamic pressure then, Pa. */
dynamic_pressure_pa: AuditFigure | null,
/** Path angle through the air from vertical then, rad; `null` where it was not known. */
lean_rad: AuditFigure | null,
/** Opening load, N, as it was predicted last. */
opening_load_n: AuditFigure | null,
/** What the limit is of: `airspeed`, `dynamic_pressure`, `opening_load`. */
limit_of: string | null,
/** The limit, m/s, Pa or N. */
limit: number | null,
/** Where it comes from. */
limit_from: string | null,
/** Whether it was kept. */
verdict: CueVerdict,
/** In words: the threshold that would have put it where it was wanted. */
threshold: string | null,
/** The same as a figure, in the unit of the condition: m/s, s or m. */
threshold_value: number | null,
/** What else has to be said. */
remark: string | null };

/** How a cue's limit was kept. */
export type CueVerdict = "within" | "over" | "not_told" | "none";

/** A figure with its 90 % interval, SI. */
export type AuditFigure = {
/** Median. */
value: number,
/** 5 % quantile. */
low: number,
/** 95 % quantile. */
high: number };

/** The audit. */
export type PredictionAudit = {
/** What it is held against. */
apogee: AuditApogee,
/** Predictions over time. */
fan: PredictionFan,
/** At three instants. */
checked: Array<CheckedPrediction>,
/** Share of the time from burnout to apogee in which the true height lay in the 90 % interval; it should be 0.9 over
 * many flights, and says little about one. */
held_90: number | null,
/** In the 50 % interval. */
held_50: number | null,
/** `null` where the coast was not seen. */
drag: LearnedDrag | null,
/** `null` where the burn was not seen. */
impulse: LearnedImpulse | null,
/** Why one of them is missing. */
remarks: Array<string> };

/** Apogee as it was. */
export type AuditApogee = {
/** s since liftoff. */
t_s: number,
/** Height above the pad, m. */
height_m: AuditFigure,
/** Speed through the air there, m/s. */
airspeed_mps: AuditFigure | null,
/** Speed over the ground there, m/s. */
ground_speed_mps: AuditFigure | null };

/** What was predicted over time: columns of equal length. Times are s since liftoff, heights m above the pad. */
export type PredictionFan = {
/** When it was predicted. */
t_s: Array<number>,
/** Median. */
p50: Array<number>,
/** 5 %. */
p05: Array<number>,
/** 25 %. */
p25: Array<number>,
/** 75 %. */
p75: Array<number>,
/** 95 %. */
p95: Array<number>,
/** The drag-free sum, done by hand. */
hand: Array<number> };

/** One prediction against what came. */
export type CheckedPrediction = {
/** Which: `at burnout`, `half of the coast`, `1 s before apogee`. */
instant: string,
/** When, s since liftoff. */
t_s: number,
/** Predicted height, m. */
height_m: AuditFigure,
/** Predicted minus true height, m. */
error_m: number,
/** The same of the drag-free sum, m. */
hand_error_m: number,
/** Predicted minus true time, s. */
time_error_s: number,
/** Predicted minus true airspeed at apogee, m/s. */
airspeed_error_mps: number | null,
/** Whether the true height lies in the 90 % interval. */
held_90: boolean,
/** In the 50 % interval. */
held_50: boolean };

/** What the coast taught about drag. */
export type LearnedDrag = {
/** Told rho0 Cd A / (2 m), 1/m. */
told_k_per_m: number,
/** Learned, 1/m. */
learned_k_per_m: AuditFigure,
/** Told drag coefficient. */
told_cd: number,
/** The one to tell next time, with mass and diameter as told. */
cd: AuditFigure,
/** What has to be said of it. */
words: string };

/** What the burn taught about impulse over mass. */
export type LearnedImpulse = {
/** Speed that thrust gave, m/s, as told: impulse over the falling mass. */
told_mps: number,
/** As flown. */
flown_mps: number,
/** Total impulse that it comes to with the mass as told, N s. */
impulse_ns: number,
/** Liftoff mass that it comes to with the impulse as told, kg. */
mass_kg: number,
/** That the two cannot be told apart, in words. */
words: string };

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
who: string } | { "kind": "accept",
/** Key of the check, or of the margin. */
key: string,
/** Whether it is accepted; else the acceptance is taken back. */
on: boolean,
/** Why, in a few words; may be empty where it is taken back. */
why: string,
/** Who accepts it; may be empty. */
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
export type DeedKind = "mark" | "correct" | "withdraw" | "name" | "end" | "setup" | "accept" | "take_back" | "notes" | "footage" | "delete" | "restore";

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

/** One figure beside its limit. It says what was heard and measured, and never that anything is ready. */
export type CheckNow = {
/** Stable key. */
key: string,
/** Index of the body, if about one. */
body: number | null,
/** What it is about. */
what: string,
/** The figure, in words, metric. */
figure: string,
/** Since when it has been so, station time, where that matters. */
since_t_s: number | null,
/** The limit, in words. */
limit: string,
/** Where the limit comes from. */
limit_from: string,
/** How urgent; `null` where it is within limits. */
level: Level | null,
/** What to do, where it is not. */
words: string,
/** Who accepted it as it is; `null` where nobody did, or it has got worse since. */
accepted_by: string | null,
/** Why. */
accepted_why: string | null };

/** What a crew member accepted for this flight, with the words as they stood then. */
export type AcceptedNow = {
/** Key of the check, or of the margin. */
key: string,
/** What it is about. */
what: string,
/** The figure then. */
figure: string,
/** The limit then. */
limit: string,
/** Who. */
who: string,
/** Why. */
why: string };

/** `GET /api/prepare`: a function of the setup in force alone. */
export type Prepared = {
/** Tells this setup from others. */
edition: string,
/** Name of the vehicle. */
vehicle: string,
/** Name of the site. */
site: string,
/** Margins, in the order of a flight. */
margins: Array<Margin>,
/** The nominal flight. */
picture: NominalPicture,
/** Cues that come too near one another, or in the wrong order. */
clashes: Array<Clash>,
/** All cues. */
cues: Array<CueWanted>,
/** The crew's own steps. */
checklist: Array<StepInfo>,
/** Named areas. */
areas: Array<AreaInfo>,
/** Names of the bodies. */
bodies: Array<string> };

/** A cue and what the setup wants of it. */
export type CueWanted = {
/** Name. */
name: string,
/** What is wanted; `null` where it goes by a clock after another. */
want: Want | null,
/** The limit, SI. */
limit: number | null,
/** Of which quantity. */
limit_of: LimitOf | null,
/** Where it comes from; empty without one. */
limit_from: string,
/** Lag of the electronics' vertical speed as told, with its spread, s. */
lag_s: [number, number],
/** Delay of electronics and mechanism as told, with its spread, s. */
delay_s: [number, number] };

/** A step of the checklist. */
export type StepInfo = {
/** What to do. */
step: string,
/** Who does it; empty if not told. */
who: string };

/** `GET /api/prepare/figures`, for crew: the setup file as a form. */
export type FiguresForm = {
/** Tells this state of the file from others. */
edition: string,
/** The file's name, without the folder. */
name: string,
/** Figures that stand together. */
sections: Array<FormSection> };

/** Figures that stand together. */
export type FormSection = {
/** Dotted key of the table; with nothing between its last brackets what may be added there. */
key: string,
/** What to call it. */
title: string,
/** Whether it can be taken out. */
removable: boolean,
/** Whether it is what may be added there. */
adds: boolean,
/** Its figures. */
figures: Array<FormFigure> };

/** One figure of the form. */
export type FormFigure = {
/** Dotted key, as mistakes and defaults have it. */
key: string,
/** What to call it. */
label: string,
/** Its unit; empty without one. */
unit: string,
/** What it is typed as. */
kind: FigureKind,
/** What it may be, where that is a choice. */
choices: Array<string>,
/** The list (`body`, `cue`) whose entries' names are the choices. */
names_of: string | null,
/** Whether nothing is taken without it. */
needed: boolean,
/** As it stands in the file, without quotes; `null` where it does not. */
value: string | null,
/** The remark at the end of its line. */
source: string,
/** What is taken where it is not told, in words. */
default: string | null };

/** What a figure is typed as. */
export type FigureKind = "number" | "words" | "choice" | "pairs";

/** `POST /api/prepare/figures`: changes of the form. */
export type FiguresWanted = {
/** As it was got. */
edition: string,
/** The changes, in order. */
edits: Array<FormEdit>,
/** Only looked at: nothing is changed. */
check: boolean,
/** Who wants it; may be empty. */
who: string };

/** One change. */
export type FormEdit = { "kind": "tell",
/** Its key. */
key: string,
/** As typed; `null` takes it out. */
value: string | null,
/** Its source; `null` leaves it as it is. */
source: string | null } | { "kind": "add",
/** `vehicle.part`, `upper_motor`, `body`, `body[NAME].descent`, `cue`, `site.area` or `checklist`. */
list: string,
/** Its name, where entries of that list have one; the step; else empty. */
name: string } | { "kind": "remove",
/** Key of its table. */
key: string };

/** A copy of a vehicle that was kept. `POST /api/prepare/vehicles` keeps one of the setup file as it is, or takes one. */
export type VehicleCopy = {
/** Its number. */
id: string,
/** Name of the vehicle. */
name: string,
/** Mass at liftoff as told, kg. */
mass_kg: string,
/** Total impulse as told, N s. */
impulse_ns: string,
/** When it was kept, UTC seconds. */
kept_utc_s: number };

/** `GET /api/prepare/learned`: what earlier flights of this vehicle taught, offered for the setup. */
export type Learned = {
/** In a sentence. */
words: string,
/** From which flights. */
from: string,
/** The figures that it comes to. */
figures: Array<LearnedFigure> };

/** A figure that was learned. */
export type LearnedFigure = {
/** Its key in the form. */
key: string,
/** Its value, in the form's unit. */
value: string };

/** `POST /api/prepare/vehicles` */
export type VehicleWanted = { "kind": "keep" } | { "kind": "take",
/** Number of the copy. */
id: string,
/** Edition of the file, as it was got. */
edition: string,
/** Only looked at: nothing is changed. */
check: boolean };

/** One figure beside its limit. */
export type Margin = {
/** Stable key, e.g. `margin:rail_exit`. */
key: string,
/** What it is about. */
what: string,
/** The figure at its bad 95 % end, in `unit`; `None` where it is words alone. */
figure: number | null,
/** The limit, in `unit`. */
limit: number | null,
/** Whether the limit is the least (else the most) that is within. */
at_least: boolean,
/** SI unit of both: `m`, `m/s`, `m/s2`, `rad`, `J`, `Pa`, `N`, `kg`, `share`, `ratio`, `calibres`, or empty. */
unit: string,
/** The figure in words, where it is no number. */
figure_words: string,
/** The limit in words, where it is no number. */
limit_words: string,
/** Where the limit comes from. */
limit_from: string,
/** Whether it is judged at all. */
judged: boolean,
/** How urgent; `None` where it is within limits or not judged. */
level: Level | null,
/** What is beside it that one should know. */
note: string,
/** What to change where it is not within limits. */
change: string };

/** Five quantiles. */
export type Spread5 = {
/** 5 %. */
p05: number,
/** 25 %. */
p25: number,
/** Median. */
p50: number,
/** 75 %. */
p75: number,
/** 95 %. */
p95: number };

/** Everything that is drawn. */
export type NominalPicture = {
/** Azimuth of downrange, rad from true north. */
azimuth_rad: number,
/** The nominal path of the vehicle. */
nominal: Array<Drawn>,
/** The nominal paths of the other bodies from where they are let go. */
others: Array<Array<Drawn>>,
/** Nominal path of the vehicle if nothing deploys, from apogee: straight to the ground point. */
band: Array<NominalBand>,
/** The drawn flight of the first hundred with the most air past it at apogee. */
worst: Array<Drawn>,
/** In words, what is bad about it. */
worst_airspeed_mps: number,
/** Rail exit, burnouts, apogee, cues, landings of the nominal flight. */
moments: Array<NominalMoment>,
/** Landing areas. */
ground: Array<GroundCase>,
/** Apogee above the pad, m. */
apogee_m: Spread5 | null,
/** Time of apogee, s. */
apogee_s: Spread5 | null,
/** Airspeed at apogee, m/s. */
airspeed_at_apogee_mps: Spread5 | null,
/** Lean at burnout, rad. */
lean_rad: Spread5 | null,
/** How many flights were drawn. */
flights: number,
/** How many of them never came to an apogee. */
stayed: number };

/** A point of a drawn path. */
export type Drawn = {
/** Since first motion, s. */
t_s: number,
/** Downrange, m. */
away_m: number,
/** Above the pad, m. */
height_m: number,
/** East and north of the pad, m. */
east_north_m: [number, number] };

/** Where the drawn flights are at one share of the climb or of the fall. */
export type NominalBand = {
/** Mean downrange and height, m. */
centre_m: [number, number],
/** Covariance: downrange, downrange with height, height, m2. */
covariance_m2: [number, number, number] };

/** A moment of the nominal flight. */
export type NominalMoment = {
/** `rail_exit`, `burnout`, `apogee`, `cue`, `landing`. */
kind: string,
/** What to call it. */
label: string,
/** Index of the body. */
body: number,
/** Where and when. */
at: Drawn,
/** When, over the drawn flights, s. */
t_s: Spread5 | null,
/** Airspeed then, m/s. */
airspeed_mps: Spread5 | null };

/** Where a body lands in one case. */
export type GroundCase = {
/** Index of the body. */
body: number,
/** `planned` or `bare`. */
case: string,
/** What to call it. */
label: string,
/** Middle, m east and north of the pad. */
centre_m: [number, number],
/** Covariance: east-east, east-north, north-north, m2. */
covariance_m2: [number, number, number],
/** The first hundred, m east and north. */
dots_m: Array<[number, number]> };

/** Two cues that may come in the wrong order, or together. */
export type Clash = {
/** Name of the cue that is meant to come first. */
first: string,
/** Name of the one after it. */
second: string,
/** Share of the drawn flights in which they come the other way round. */
reversed: number,
/** Share in which they are nearer than a third of a second, or the other way round. */
near: number,
/** In words. */
words: string };

/** What the crew want. */
export type Want = { "kind": "lead",
/** s. */
s: number } | { "kind": "climb",
/** m/s. */
mps: number } | { "kind": "height",
/** m. */
m: number };

/** A guarded condition, for flight electronics. */
export type Condition = {
/** Not earlier after the liftoff that the electronics detected, s. Liftoff and burnout must have been detected. */
earliest_s: number,
/** Not below this height above the pad, m; coming down, not above it. */
least_height_m: number,
/** Not before this long after liftoff, as long as the speed is a barometer's, s; `None` where Mach 0.7 is never reached. */
mach_lockout_s: number | null,
/** Vertical speed as the electronics see it must be at or below, m/s; `None` for a condition by height. */
climb_mps: number | null,
/** Height as the electronics see it must be at or below, coming down after apogee, m. */
height_m: number | null,
/** For so long on end, at least three samples, s. */
hold_s: number,
/** Acts by itself so long after liftoff, s, whatever the speed; above the least height all the same, so that a liftoff which
 * was detected falsely, on the pad, does not start a clock that ends there. */
timer_s: number };

/** One line of the table. */
export type Lead = {
/** Before apogee, s. */
lead_s: number,
/** Whether it is the wanted one. */
wanted: boolean,
/** Threshold without drag, the hand sum, for the same moment: g t, m/s. */
hand_mps: number,
/** With drag, at that moment itself, nothing taken off, m/s. */
climb_mps: number | null,
/** Airspeed at that moment for leans at burnout of 0, 15, 30 and 45 degrees, m/s; `None` where no flight leans so. */
by_lean_mps: [number | null, number | null, number | null, number | null] };

/** A condition with more in it, and what it changes. */
export type Safer = {
/** Airspeed as the electronics see it must be at or below, m/s, too. */
airspeed_mps: number,
/** Share of the drawn flights over the limit at the release with it. */
over: number,
/** Share of the drawn flights in which only the timer releases. */
by_timer: number,
/** Median delay over the plain condition where it waits, s. */
waits_s: number,
/** In words. */
words: string };

/** What comes of it. */
export type CuePlan = {
/** Name of the cue. */
cue: string,
/** Index of the cue. */
index: number,
/** What was wanted. */
want: Want,
/** What was told: lag of the vertical speed, delay of the mechanism, each with its spread, s. */
lag_s: [number, number],
/** See above. */
delay_s: [number, number],
/** Taken off in all: lag, moment on end, delay, s. */
ahead_s: number,
/** Limit of airspeed, m/s, if one was told, or follows from one of dynamic pressure or load. */
limit_mps: number | null,
/** Where it comes from. */
limit_from: string,
/** Threshold by the hand sum, m/s. */
hand_mps: number | null,
/** Vertical speed when the electronics must decide, over the drawn flights, m/s. */
climb_mps: Spread5 | null,
/** The condition; `None` where no condition does it, said in `words`. */
condition: Condition | null,
/** When it releases, against what was wanted, over the drawn flights, s. */
error_s: Spread5 | null,
/** Airspeed at the release, m/s. */
airspeed_mps: Spread5 | null,
/** Share of the drawn flights over the limit at the release, with the threshold alone. */
over: number | null,
/** A safer condition, where there is a limit. */
safer: Safer | null,
/** The table of lead times. */
leads: Array<Lead>,
/** What one should know, each a sentence. */
words: Array<string>,
/** A small table to copy, whole; empty where there is no condition. */
copy: string };
