package page_test

import (
	"time"

	"binwatchd/internal/farm"
)

// Hillfoot Nursery is invented: six bins on a hot July afternoon, with
// something raised, hushed, known of, silent, doubted and foreseen.

// noon is a moment on that afternoon.
var noon = time.Date(2027, time.July, 9, 13, 5, 0, 0, time.UTC)

func london() *time.Location {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	return loc
}

func band(a, b float64) farm.Band { return farm.Band{Low: a, High: b} }

func bands(tLow, tHigh, sLow, sHigh float64) farm.Bands {
	return farm.Bands{Thrive: band(tLow, tHigh), Survive: band(sLow, sHigh)}
}

var (
	redT, redM    = bands(15, 25, 4, 32), bands(70, 85, 60, 90)
	blueT         = bands(21, 32, 9, 34)
	africanT      = bands(22, 30, 16, 33)
	siftM         = bands(35, 45, 28, 75)
	keepT, keepM  = bands(2, 25, 0, 32), bands(40, 55, 33, 65)
	mixedT        = bands(15, 32, 9, 32) // red and blue together
	africanM, euM = bands(75, 82, 65, 88), bands(70, 84, 60, 88)
)

func hillfoot() *farm.Farm {
	probe := func(id string, q farm.Quantity, u farm.Unit) farm.Probe {
		return farm.Probe{ID: id, Topic: "shed/" + id, Measures: q, Unit: u, Every: 10 * time.Minute}
	}
	raw := probe("bed-m", farm.Moisture, farm.RawUnit)
	raw.Calibration = []farm.Point{{Raw: 1420, Value: 84}, {Raw: 2850, Value: 12}}
	battery := probe("crate-b", farm.Battery, farm.Volt)
	battery.Low, battery.Of = 3.3, []string{"crate-m", "crate-t"}
	zone := func(name string, aim farm.Aim, probes ...string) farm.Zone {
		return farm.Zone{Name: name, Aim: aim, Probes: probes, Share: 1}
	}
	return &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: london(),
		Probes: []farm.Probe{
			probe("bed-t", farm.Temperature, farm.Fahrenheit), raw, probe("bed-m2", farm.Moisture, farm.Percent),
			probe("bed-far-m", farm.Moisture, farm.Percent), probe("glass-air", farm.Temperature, farm.Celsius),
			probe("trays-t", farm.Temperature, farm.Celsius), probe("trays-m", farm.Moisture, farm.Percent),
			probe("cabinet-t", farm.Temperature, farm.Celsius), probe("cabinet-m", farm.Moisture, farm.Percent),
			probe("trough-t", farm.Temperature, farm.Celsius), probe("trough-m", farm.Moisture, farm.Percent),
			probe("crate-t", farm.Temperature, farm.Celsius), probe("crate-m", farm.Moisture, farm.Percent), battery,
			probe("barrel-m", farm.Moisture, farm.Percent),
		},
		Bins: []farm.Bin{
			{Name: "cabinet", Species: []farm.Share{{Species: "african", Fraction: 1}}, VolumeL: 60, WormsKg: 0.8,
				Zones: []farm.Zone{zone("all", farm.Living, "cabinet-t", "cabinet-m")}},
			{Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 0.7}, {Species: "blue", Fraction: 0.3}}, VolumeL: 160, WormsKg: 3, Ambient: "glass-air",
				Zones: []farm.Zone{zone("near", farm.Living, "bed-t", "bed-m", "bed-m2"), zone("far", farm.Sifting, "bed-far-m")}},
			{Name: "trays", Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 45, WormsKg: 1,
				Zones: []farm.Zone{zone("all", farm.Living, "trays-t", "trays-m")}},
			{Name: "trough", Species: []farm.Share{{Species: "european", Fraction: 1}}, VolumeL: 220, WormsKg: 4,
				Zones: []farm.Zone{zone("all", farm.Living, "trough-t", "trough-m")}},
			{Name: "crate", VolumeL: 60, Zones: []farm.Zone{zone("all", farm.Keeping, "crate-t", "crate-m")}},
			{Name: "barrel", VolumeL: 200, Zones: []farm.Zone{zone("all", farm.Keeping, "barrel-m")}},
		},
		Species: []farm.Species{
			{ID: "red", Name: "Red worms", Temperature: redT, Moisture: redM},
			{ID: "european", Name: "European worms", Temperature: redT, Moisture: euM},
			{ID: "blue", Name: "Blue worms", Temperature: blueT, Moisture: bands(75, 83, 65, 88)},
			{ID: "african", Name: "African worms", Temperature: africanT, Moisture: africanM},
		},
		Feeds: []farm.Feed{{Kind: "grain", Days: 45}, {Kind: "scraps", Days: 14}, {Kind: "<b>mash</b>", Days: 20}},
	}
}

func ago(d time.Duration) time.Time   { return noon.Add(-d) }
func ahead(d time.Duration) time.Time { return noon.Add(d) }
func ptr[T any](v T) *T               { return &v }

func level(v float64, b farm.Bands) *farm.LevelView {
	return &farm.LevelView{Value: v, At: ago(4 * time.Minute), Fresh: true, Bands: b}
}

func worm(id, name string, word farm.Wellbeing, activity float64) farm.SpeciesView {
	return farm.SpeciesView{ID: id, Name: name, Word: word, Activity: activity}
}

func hillfootView() farm.View {
	heat := farm.Forecast{Crosses: ahead(2 * time.Hour), Earliest: ahead(80 * time.Minute), Latest: ahead(4 * time.Hour)}
	dry := farm.Forecast{Crosses: ahead(4 * day), Earliest: ahead(3 * day), Latest: ahead(6 * day)}
	sift := farm.Forecast{Crosses: ahead(3 * day), Earliest: ahead(2 * day), Latest: ahead(5 * day)}
	return farm.View{
		Farm: "Hillfoot Nursery", Units: farm.Metric, Timezone: "Europe/London", At: noon,
		Intake: farm.IntakeView{Running: true, Connected: true, Since: ago(9 * day), Messages: map[string]int64{"kept": 18234, "unclaimed": 12, "malformed": 3}},
		Bins: []farm.BinView{
			{Name: "cabinet", Zones: []farm.ZoneView{{
				Bin: "cabinet", Zone: "all", Aim: farm.Living, Levels: farm.Levels{farm.Temperature: level(26.4, africanT), farm.Moisture: level(78, africanM)},
				Species: []farm.SpeciesView{worm("african", "African worms", "thriving", 0.99)},
				Food:    []farm.FoodView{{At: ago(6 * day), Kg: 0.4, Of: "scraps", LeftPart: 0.5}},
			}}},
			{Name: "bed", Zones: []farm.ZoneView{
				{
					Bin: "bed", Zone: "near", Aim: farm.Living, Levels: farm.Levels{farm.Temperature: level(30.6, mixedT), farm.Moisture: level(72, bands(68, 82, 58, 88))},
					Species: []farm.SpeciesView{worm("red", "Red worms", "slowed", 0.7), worm("blue", "Blue worms", "thriving", 0.9)},
					Outlook: []farm.Outlook{{Condition: farm.Heating, Forecast: heat, Text: "The feed is heating; 32 °C is near."}},
					Water:   &farm.Advice{WaterLitres: 3.2, VisitLitres: 1.5, DryMassKg: 14, DryMassFrom: "learned"},
					Food:    []farm.FoodView{{At: ago(30 * time.Hour), Kg: 2, Of: "grain", LeftPart: 0.95}},
				},
				{
					Bin: "bed", Zone: "far", Aim: farm.Sifting, Levels: farm.Levels{farm.Moisture: level(44, siftM)},
					Outlook: []farm.Outlook{{Condition: farm.SiftPassing, Forecast: sift, Text: "It will be too dry to sift well."}},
				},
			}},
			{Name: "trays", Zones: []farm.ZoneView{{
				Bin: "trays", Zone: "all", Aim: farm.Living, Levels: farm.Levels{farm.Temperature: level(23.1, redT), farm.Moisture: level(73, redM)},
				Species: []farm.SpeciesView{worm("red", "Red worms", "thriving", 0.98)},
				Outlook: []farm.Outlook{{Condition: farm.Drying, Forecast: dry, Text: "It dries below 70 %."}},
				Water:   &farm.Advice{WaterLitres: 1.2, VisitLitres: 1.2, DryMassFrom: "guess"},
			}}},
			{Name: "trough", Zones: []farm.ZoneView{{
				Bin: "trough", Zone: "all", Aim: farm.Living, Levels: farm.Levels{farm.Temperature: level(27.4, redT), farm.Moisture: level(81, euM)},
				Species: []farm.SpeciesView{worm("european", "European worms", "slowed", 0.6)},
				LidOff:  ptr(ahead(40 * time.Minute)),
			}}},
			{Name: "crate", Zones: []farm.ZoneView{{
				Bin: "crate", Zone: "all", Aim: farm.Keeping, Levels: farm.Levels{farm.Temperature: level(19.2, keepT), farm.Moisture: level(37, keepM)}, StoredL: 42,
				Water: &farm.Advice{WaterLitres: 2.6, VisitLitres: 1, DryMassFrom: "guess"},
			}}},
			{Name: "barrel", Zones: []farm.ZoneView{{
				Bin: "barrel", Zone: "all", Aim: farm.Keeping, StoredL: 120, Unjudged: "No believed reading for 9 hours: nothing can be said of this barrel.",
				Levels: farm.Levels{farm.Moisture: &farm.LevelView{Value: 48, At: ago(9 * time.Hour), Bands: keepM}},
			}}},
		},
		Probes:   hillfootProbes(),
		Standing: hillfootStanding(heat, dry),
		Hushes:   []farm.Hush{{Bin: "trays", Condition: farm.Drying, Until: ahead(20 * time.Hour)}},
		Needs:    []farm.NeedView{{WantedL: 200, By: ahead(40 * day), StoredL: 162, ExpectedL: 190, Text: "200 litres of castings are wanted by 18 August: at this pace there will be about 190."}},
	}
}

func hillfootStanding(heat, dry farm.Forecast) []farm.Standing {
	return []farm.Standing{
		{Episode: "e1", Bin: "bed", Zone: "near", Condition: farm.Heating, Urgency: farm.Now, Since: ago(3 * time.Hour),
			Text: "Bed, near is heating by itself: 30.6 °C, 4 K over the glasshouse. Red worms suffer past 32 °C; blue ones don't mind yet.", Forecast: &heat,
			Advice: &farm.Advice{Do: "Open it up, spread the fresh grain thin and mix in dry bedding."}, Cautions: []string{"Full trays are heavy: lift with two."}},
		{Episode: "e2", Bin: "bed", Zone: "far", Condition: farm.SiftReady, Urgency: farm.Today, Since: ago(5 * time.Hour),
			Text: "Bed, far is fit to sift at 44 %.", Advice: &farm.Advice{Do: "Sift a few pans at a time until Monday."},
			Cautions: []string{"Sifting raises dust and spores: dampen, air the room, wear a P2 or N95 mask and wash your hands."}},
		{Episode: "e3", Bin: "crate", Zone: "all", Condition: farm.TooDry, Urgency: farm.Today, Since: ago(26 * time.Hour),
			Text: "Crate is too dry at 37 %; 40 % is the least for castings to stay alive.", Advice: &farm.Advice{Do: "Sprinkle about 1 litre, fluff, and look again tomorrow."}},
		{Episode: "e4", Bin: "trough", Zone: "all", Condition: farm.TooHot, Urgency: farm.Today, Since: ago(2 * time.Hour), Seen: true,
			Text: "Trough is too hot at 27.4 °C. European worms are slowed.", Advice: &farm.Advice{Do: "Shade it and wet the cover."}},
		{Episode: "e5", Probe: "barrel-m", Condition: farm.Silent, Urgency: farm.Today, Since: ago(8 * time.Hour),
			Text: "Probe barrel-m has said nothing for 9 hours.", Advice: &farm.Advice{Do: "See whether it still has power."}},
		{Episode: "e6", Bin: "trays", Zone: "all", Condition: farm.Drying, Urgency: farm.Soon, Since: ago(20 * time.Hour), Hushed: ptr(ahead(20 * time.Hour)),
			Text: "Trays will be below 70 % in about 4 days.", Forecast: &dry, Advice: &farm.Advice{Do: "Give about 1¼ litres at the next round.", WaterLitres: 1.2}},
		{Episode: "e7", Probe: "bed-m", Condition: farm.Suspect, Urgency: farm.Soon, Since: ago(13 * time.Hour),
			Text: "Probe bed-m is not believed: it disagrees with its twin by 22 points.", Advice: &farm.Advice{Do: "Press it back into the bed, away from the side."}},
		{Episode: "e8", Probe: "crate-b", Condition: farm.BatteryLow, Urgency: farm.Soon, Since: ago(50 * time.Hour),
			Text: "The battery of crate-m and crate-t is low at 3.21 V."},
		{Episode: "e9", Condition: farm.Unforwarded, Urgency: farm.Soon, Since: ago(7 * time.Hour),
			Text: "The database has refused readings for 7 hours: the token is not accepted.", Advice: &farm.Advice{Do: "Put a fresh token into its file; nothing is lost meanwhile."}},
	}
}

func hillfootProbes() []farm.ProbeView {
	speaks := func(id string, q farm.Quantity, raw, value float64) farm.ProbeView {
		return farm.ProbeView{ID: id, Measures: q, Raw: ptr(raw), Value: ptr(value), At: ago(4 * time.Minute), Arrived: ago(4 * time.Minute), Fresh: true,
			Counts: map[string]int64{farm.OutcomeBelieved: 1290}}
	}
	doubted := speaks("bed-m", farm.Moisture, 2290, 40.2)
	doubted.Doubt = farm.TwinApart.String()
	doubted.Counts = map[string]int64{farm.OutcomeBelieved: 1204, farm.OutcomeDoubted: 78}
	silent := speaks("barrel-m", farm.Moisture, 48, 48)
	silent.At, silent.Fresh, silent.Rejected = ago(9*time.Hour), false, map[string]int64{"not_a_number": 3}
	misdated := speaks("trough-t", farm.Temperature, 27.4, 27.4)
	misdated.Flags = []string{"misdated"}
	return []farm.ProbeView{
		speaks("bed-t", farm.Temperature, 87.1, 30.6), doubted, speaks("bed-m2", farm.Moisture, 72, 72),
		speaks("bed-far-m", farm.Moisture, 44, 44), speaks("glass-air", farm.Temperature, 26.5, 26.5),
		speaks("trays-t", farm.Temperature, 23.1, 23.1), speaks("trays-m", farm.Moisture, 73, 73),
		speaks("cabinet-t", farm.Temperature, 26.4, 26.4), speaks("cabinet-m", farm.Moisture, 78, 78),
		misdated, speaks("trough-m", farm.Moisture, 81, 81),
		speaks("crate-t", farm.Temperature, 19.2, 19.2), speaks("crate-m", farm.Moisture, 37, 37),
		speaks("crate-b", farm.Battery, 3.21, 3.21), silent,
	}
}

func hillfootRounds() farm.Rounds {
	return farm.Rounds{
		At: noon, Farm: "Hillfoot Nursery", Opening: "The near end of the bed first: it is heating. Then water the crate and sift a little.",
		Bring:    []string{"about 2½ litres of water", "dry bedding, a bucketful", "the 6 mm screen and a mask"},
		Cautions: []string{"Sifting raises dust and spores: dampen, air the room, wear a P2 or N95 mask and wash your hands."},
		Probes:   []string{"bed-m is not believed: it disagrees with its twin.", "barrel-m has said nothing for 9 hours."},
		Hushed:   []string{"Trays: drying out, until tomorrow about 10 am."},
		Needs:    []farm.NeedView{{Text: "200 litres of castings are wanted by 18 August: at this pace there will be about 190."}},
		Care: []farm.Care{
			{Bin: "bed", Zone: "near", Condition: farm.Heating, Episode: "e1", Urgency: farm.Now, Do: "Open it up, spread the fresh grain thin and mix in about 1 kg of dry bedding.",
				Why: "30.6 °C and rising by itself; 32 °C by about 4 pm.", Jot: &farm.Jot{Bin: "bed", Zone: "near", What: farm.Bedded, Kg: 1}},
			{Bin: "crate", Zone: "all", Condition: farm.TooDry, Episode: "e3", Urgency: farm.Today, Do: "Sprinkle about 1 litre and fluff.",
				Why: "37 %, and 40 % is the least.", Jot: &farm.Jot{Bin: "crate", Zone: "all", What: farm.Watered, Litres: 1}},
			{Bin: "bed", Zone: "far", Condition: farm.SiftReady, Episode: "e2", Urgency: farm.Today, Do: "Sift a few pans, about 8 litres, into the crate.",
				Why: "44 %: right until Monday or Tuesday.", Jot: &farm.Jot{Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"},
				Over: &farm.Jot{Bin: "bed", Zone: "far", What: farm.Finished}},
			{Bin: "trough", Zone: "all", Condition: farm.TooHot, Episode: "e4", Urgency: farm.Today, Seen: true, Do: "Shade it and wet the cover.", Why: "27.4 °C in the sun."},
			{Bin: "trays", Zone: "all", Urgency: farm.Soon, Condition: farm.FeedDue, Do: "Feed about ½ kg of scraps.", Why: "Nine tenths of the last is eaten.",
				Jot: &farm.Jot{Bin: "trays", Zone: "all", What: farm.Fed, Kg: 0.5, Of: "scraps"}},
		},
	}
}
