package dashboard

// title is the name of the dashboard at its importer's.
const title = "Worm bins"

// Colours of urgency and of bands: calm, soon, today, now.
const (
	calm, soon, today, now = "green", "yellow", "orange", "red"
)

var wellOrNot = map[string]string{"1": "well", "0": "not well"}

// board is the one description: what a keeper looks at first comes first.
var board = []part{
	{
		"The site", site, []picture{
			{
				title: "Daemon, broker and disk", says: "Not well: the daemon does not answer, hears no broker, or cannot write. What stands and what comes below is then old.",
				form: figures, width: 6, words: wellOrNot, colours: []step{{0, now}, {1, calm}},
				none: "no daemon is scraped", lines: []line{{name: "{site}", query: "well"}},
			},
			{
				title: "Readings of the last hour", says: "None: the daemon, its broker or this database is away. What stands and what comes below is then old.",
				form: figures, width: 6, colours: []step{{0, now}, {1, calm}}, none: "none",
				lines: []line{{name: "{farm}", lines: "arriving"}},
			},
			{
				title: "Conditions raised", says: "How many stand now, by urgency.",
				form: figures, width: 6, colours: []step{{0, calm}, {1, today}},
				none: "nothing is raised", lines: []line{{name: "{urgency}", query: "count"}, {name: "{farm}", lines: "count"}},
			},
			{
				title: "Water to give", says: "What would bring the zone to the middle of its thrive band, less what was given of late. Give it in several visits.",
				form: figures, unit: litres, width: 6, none: "no zone wants water",
				lines: []line{{name: "{bin}/{zone}", query: "water"}},
			},
			{
				title: "Next feed", says: "When the food that was jotted is nearly eaten, at the pace that the temperatures allow.",
				form: figures, unit: days, width: 6, colours: []step{{0, today}, {1, soon}, {3, calm}}, none: "no feed is jotted",
				lines: []line{{name: "{bin}/{zone}", query: "food"}},
			},
			{
				title: "What stands", says: "Every condition that is raised and not eased yet.",
				form: rows, width: 12, none: "nothing is raised", lines: []line{{query: "stands", lines: "stands"}},
			},
			{
				title: "What comes", says: "Hours until a limit is expected to be crossed, or something is due, whether that is worth a notice or not.",
				form: rows, unit: hours, width: 12, none: "nothing is foreseen", lines: []line{{query: "ahead", lines: "ahead"}},
			},
			{
				title: "Temperature", says: "Every zone, smoothed over an hour.",
				unit: celsius, width: 12, lines: []line{{name: "{bin}/{zone}", query: "temperature", lines: "temperature"}},
			},
			{
				title: "Moisture", says: "Every zone, water by fresh mass, smoothed over six hours.",
				unit: percent, width: 12, lines: []line{{name: "{bin}/{zone}", query: "moisture", lines: "moisture"}},
			},
			{
				title: "Rooms", says: "The air of each room, probe by probe.",
				unit: celsius, width: 12, lines: []line{{name: "{place} {probe}", query: "rooms", lines: "rooms"}},
			},
			{
				title: "Diary", says: "What was done, as it was jotted.",
				form: rows, width: 12, none: "nothing was jotted", lines: []line{{lines: "jots"}},
			},
			{
				title: "Food given", says: "By the day, as it was jotted.",
				unit: kilos, width: 12, none: "no feed is jotted", lines: []line{{name: "{bin}", lines: "food"}},
			},
			{
				title: "Water given", says: "By the day, as it was jotted.",
				unit: litres, width: 12, none: "no watering is jotted", lines: []line{{name: "{bin}", lines: "water"}},
			},
			{
				title: "How urgent what was raised was", says: "3: now, 2: today, 1: soon, 0: eased.",
				form: spans, width: 24, words: map[string]string{"0": "eased", "1": "soon", "2": "today", "3": "now"},
				colours: []step{{0, calm}, {1, soon}, {2, today}, {3, now}}, none: "nothing was raised",
				lines: []line{{name: "{bin}/{zone} {probe} {condition} {quantity}", lines: "standing"}},
			},
			{
				title: "How long it lasted", says: "Of what has eased in the time that is shown: the middle of its lengths, by how urgent it was last.",
				form: figures, unit: hours, width: 24, none: "nothing has eased", lines: []line{{name: "{condition}, {urgency}", lines: "lasted"}},
			},
			{
				title: "What stood, and for how long", says: "The part of each hour for which a condition stood.",
				form: spans, unit: part1, width: 24, colours: []step{{0, calm}, {0.01, soon}, {0.5, today}},
				none: "nothing was raised", lines: []line{{name: "{bin}/{zone} {probe} {condition}, {urgency}", query: "part"}},
			},
		},
	},
	{
		"One zone: $bin, $zone", zone, []picture{
			{
				title: "Temperature between its bands", says: "The level as it is judged. Between the lines named thrive they do well; beyond those named survive they come to harm.",
				unit: celsius, width: 16, lines: []line{
					{name: "{bin}/{zone}", query: "level-t", lines: "temperature"},
					{name: "{bin}/{zone}, coldest probe", query: "coldest", lines: "coldest"},
					{name: "{bin}/{zone}, hottest probe", query: "hottest", lines: "hottest"},
					{name: "{bin}/{zone}, {band} {side}", query: "limit-t", lines: "limit-t", edge: true},
				},
			},
			{
				title: "Ahead", says: "Hours until a limit is expected to be crossed, or something is due. 0: it is past already.",
				form: figures, unit: hours, width: 8, colours: []step{{0, today}, {24, soon}, {72, calm}}, none: "nothing is foreseen",
				lines: []line{
					{name: "{bin}/{zone} {condition}", query: "ahead", lines: "ahead"},
					{name: "{bin}/{zone} {condition}, at the earliest", query: "earliest"},
				},
			},
			{
				title: "Moisture between its bands", says: "The level as it is judged, water by fresh mass.",
				unit: percent, width: 16, lines: []line{
					{name: "{bin}/{zone}", query: "level-m", lines: "moisture"},
					{name: "{bin}/{zone}, driest probe", query: "driest", lines: "driest"},
					{name: "{bin}/{zone}, wettest probe", query: "wettest", lines: "wettest"},
					{name: "{bin}/{zone}, {band} {side}", query: "limit-m", lines: "limit-m", edge: true},
				},
			},
			{
				title: "Moisture a day", says: "Points gained or, below nothing, lost. A living bed loses half a point to two.",
				form: figures, unit: percent, width: 8, none: "not known yet", lines: []line{{name: "{bin}/{zone}", query: "perday", lines: "perday"}},
			},
			{
				title: "Temperature, the next day", says: "From what it is to the limit that it is expected to cross. Bands alone: nothing is foreseen.",
				unit: celsius, width: 12, next: "1d", lines: []line{
					{name: "{bin}/{zone} {condition}", query: "ahead-t"},
					{name: "{bin}/{zone} {condition}, at the earliest", query: "early-t"},
					{name: "{bin}/{zone}, {band} {side}", query: "held-t", edge: true},
				},
			},
			{
				title: "Moisture, the next week", says: "From what it is to the limit that it is expected to cross. Bands alone: nothing is foreseen.",
				unit: percent, width: 12, next: "7d", lines: []line{
					{name: "{bin}/{zone} {condition}", query: "ahead-m"},
					{name: "{bin}/{zone} {condition}, at the earliest", query: "early-m"},
					{name: "{bin}/{zone}, {band} {side}", query: "held-m", edge: true},
				},
			},
			{
				title: "How well each species works", says: "By temperature and moisture, over a day; 1 is its best.",
				unit: part1, width: 12, lines: []line{{name: "{species} in {bin}/{zone}", query: "activity"}},
			},
			{
				title: "Hours over 30 °C", says: "In the time that is shown.",
				form: figures, unit: hours, width: 12, none: "none", lines: []line{{name: "{bin}/{zone}", lines: "hot"}},
			},
			{
				title: "Can it be judged?", says: "No: readings are missing, or the lid is off. What is not judged is not fine.",
				form: spans, width: 12, words: map[string]string{"1": "judged", "0": "not judged"}, colours: []step{{0, today}, {1, calm}},
				lines: []line{{name: "{bin}/{zone}", query: "judged"}},
			},
		},
	},
	{
		"Probes", site, []picture{
			{
				title: "Silence", says: "How long ago each probe spoke, the longest first.",
				form: rows, unit: seconds, width: 8, lines: []line{{query: "silence"}},
			},
			{
				title: "Readings believed", says: "What part of a probe's readings of an hour was believed. A probe that said nothing has none.",
				unit: part1, width: 8, lines: []line{{name: "{probe}", query: "believed"}},
			},
			{
				title: "Messages without a reading", says: "Messages an hour that gave no reading of the probe that they were for.",
				width: 8, lines: []line{{name: "{probe}", query: "rejected"}},
			},
			{
				title: "Newest readings", says: "The newest believed reading of each probe.",
				form: rows, width: 12, lines: []line{{lines: "newest"}},
			},
			{
				title: "Not believed", says: "How often each probe was not believed.",
				form: rows, width: 12, none: "all was believed", lines: []line{{lines: "doubted"}},
			},
			{
				title: "Readings by the hour", says: "How many each probe gave, believed or not.",
				width: 12, lines: []line{{name: "{probe}", lines: "readings"}},
			},
			{
				title: "Batteries", says: "Those that are told in volts.",
				unit: volts, width: 12, none: "no probe tells its battery's volts", lines: []line{{name: "{probe}", lines: "battery"}},
			},
			{
				title: "Readings", says: "Readings an hour by what became of them. Late ones are kept and not judged.",
				width: 12, lines: []line{{name: "{outcome}", query: "readings"}},
			},
			{
				title: "How late readings arrive", says: "Within how many seconds nine of ten came, of those that carry a time stamp. What is stored on its way comes late.",
				unit: seconds, width: 12, none: "no reading carries a time stamp", lines: []line{{name: "{site}", query: "delay"}},
			},
			{
				title: "Messages", says: "Messages an hour by what became of them.",
				width: 12, lines: []line{{name: "{outcome}", query: "messages"}},
			},
		},
	},
	{
		"The daemon", site, []picture{
			{
				title: "Well, over time", says: "A gap: nobody asked the daemon.",
				form: spans, width: 12, words: wellOrNot, colours: []step{{0, now}, {1, calm}},
				lines: []line{{name: "{site}", query: "well"}},
			},
			{
				title: "Who can't be reached", says: "Recipients by their place in the configuration. Trouble: the last notice did not arrive.",
				form: spans, width: 12, words: map[string]string{"0": "reached", "1": "trouble"}, colours: []step{{0, calm}, {1, now}},
				lines: []line{{name: "{recipient}", query: "trouble"}},
			},
			{
				title: "Notices", says: "Notices of a day by the way they went and what became of them.",
				width: 8, lines: []line{{name: "{by}, {outcome}", query: "notices"}},
			},
			{
				title: "Waiting for the database", says: "Readings that it has not been given yet: what grows is a database that refuses or is away.",
				width: 8, lines: []line{{name: "{site}", query: "waiting"}},
			},
			{
				title: "Journal and memory", says: "The journal on disk, its log included, and the memory that the daemon takes.",
				unit: megas, width: 8, lines: []line{{name: "{site} journal", query: "journal"}, {name: "{site} memory", query: "memory"}},
			},
		},
	},
}
