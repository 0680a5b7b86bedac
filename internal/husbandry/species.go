package husbandry

import "binwatchd/internal/farm"

// Where the figures of [Species] are from.
const (
	dominguez = "Domínguez & Edwards 2011, ch. 3 in Vermiculture Technology, CRC Press, quoted"
	edwards   = "Edwards (ed.) 2004, Earthworm Ecology 2nd ed., Table 18.3"
	kaplan    = "Kaplan et al. 1980, Soil Biol Biochem 12:347–352"
	loehr     = "Loehr, Neuhauser & Malecki 1985, Water Research 19:1311–1317"
	chosen    = "a choice within the sources above"
	neuhauser = "Edwards, Domínguez & Neuhauser 1998, Biol Fertil Soils 27:155–161"
	hartman   = "Viljoen, Reinecke & Hartman 1991, S Afr J Zool 26:43–48"
	hallatt   = "Hallatt, Reinecke & Viljoen 1990, S Afr J Zool 25:41–45"
	memory    = "from memory"
	veneta    = "Edwards (ed.) 2004, Earthworm Ecology 2nd ed., ch. 20"
	muyima    = "Muyima et al. 1994, Soil Biol Biochem 26:973–976"
	shagoti   = "Shagoti et al. 2001, J Environ Biol 22:213–217"
)

// Species gives the published rows of the species table in a fixed order: red,
// european, blue, african. Each call makes a fresh copy. The bands are
// starting points chosen from the sources each row lists, disagreements
// included; a keeper may overrule them. The upper survive limits keep 1 to 3 K
// below the temperature at which Loehr, Neuhauser & Malecki 1985 lost all
// worms.
func Species() []farm.Species {
	return []farm.Species{
		{
			ID: "red", Name: "red worms", Latin: "Eisenia fetida / andrei",
			Temperature: bands(15, 25, 4, 32),
			Moisture:    bands(70, 85, 60, 90),
			Cardinal:    farm.Cardinal{Min: 0, Best: 25, Max: 35},
			Cocoon:      farm.Cocoon{BaseC: 3.56, DegreeDays: 411, Hatchlings: 2.7},
			Sources: []farm.Source{
				{Figure: "tolerated temperature", Says: "4–30 °C", Where: edwards},
				{Figure: "tolerated temperature", Says: "0–35 °C", Where: dominguez},
				{Figure: "best temperature", Says: "15–20 °C", Where: edwards},
				{Figure: "best temperature", Says: "20–25 °C", Where: loehr},
				{Figure: "best temperature", Says: "20–29 °C", Where: kaplan},
				{Figure: "best temperature", Says: "25 °C", Where: dominguez},
				{Figure: "lethal temperature", Says: "35 °C", Where: loehr},
				{Figure: "tolerated moisture", Says: "60–90 %", Where: edwards},
				{Figure: "best moisture", Says: "80–90 %", Where: edwards},
				{Figure: "best moisture", Says: "70–85 %", Where: kaplan},
				{Figure: "best moisture", Says: "84–91 % (9–16 % solids)", Where: loehr},
				{Figure: "best moisture", Says: "65–70 % for cocoons", Where: "Reinecke & Venter 1987, Biol Fertil Soils 3:135–141"},
				{Figure: "cocoons", Says: "25 days at 20 °C, 2.7 young each", Where: "Add-my-Pet data set for Eisenia fetida"},
				{Figure: "cocoons", Says: "21.7 days at 22.5 °C", Where: "Add-my-Pet data set for Eisenia andrei"},
				{Figure: "cocoons", Says: "18–26 days", Where: memory},
				{Figure: "cocoons", Says: "base 3.56 °C and 411 degree-days", Where: "the line through those two, computed"},
				{Figure: "activity curve", Says: "0, 25, 35 °C", Where: chosen},
			},
		},
		{
			ID: "european", Name: "European worms", Latin: "Dendrobaena veneta, sold as E. hortensis",
			Temperature: bands(15, 25, 4, 32),
			Moisture:    bands(70, 84, 60, 88),
			Cardinal:    farm.Cardinal{Min: 0, Best: 22, Max: 33},
			Cocoon:      farm.Cocoon{BaseC: 0.4325, DegreeDays: 1034.3, Hatchlings: 1.1},
			Sources: []farm.Source{
				{Figure: "best temperature", Says: "15–25 °C preferred", Where: veneta},
				{Figure: "best temperature", Says: "most young at 25 °C", Where: "Fayolle et al. 1997, Soil Biol Biochem 29:747–750"},
				{Figure: "lethal temperature", Says: "35 °C", Where: loehr},
				{Figure: "tolerated temperature", Says: "4–32 °C", Where: "no source for the lower end; as for red worms"},
				{Figure: "tolerated moisture", Says: "67–84 %", Where: muyima},
				{Figure: "best moisture", Says: "75 %", Where: muyima},
				{Figure: "cocoons", Says: "42.1 days at 25 °C, 1.1 young each", Where: hartman},
				{Figure: "cocoons", Says: "71 days at 15 °C", Where: "Viljoen et al. 1992, quoted"},
				{Figure: "cocoons", Says: "base 0.4325 °C and 1034.3 degree-days", Where: "the line through those two, computed"},
				{Figure: "activity curve", Says: "0, 22, 33 °C", Where: chosen},
			},
		},
		{
			ID: "blue", Name: "blue worms", Latin: "Perionyx excavatus",
			Temperature: bands(21, 32, 9, 34),
			Moisture:    bands(75, 83, 65, 88),
			Cardinal:    farm.Cardinal{Min: 9, Best: 27, Max: 35},
			Cocoon:      farm.Cocoon{BaseC: 9, DegreeDays: 299.2, Hatchlings: 1},
			Sources: []farm.Source{
				{Figure: "tolerated temperature", Says: "9–30 °C", Where: dominguez},
				{Figure: "best temperature", Says: "grew fastest at 30 °C, most cocoons at 25 °C", Where: neuhauser},
				{Figure: "best temperature", Says: "25–37 °C", Where: memory},
				{Figure: "lethal temperature", Says: "35 °C", Where: loehr},
				{Figure: "tolerated moisture", Says: "70–85 %", Where: memory},
				{Figure: "best moisture", Says: "75–83 %", Where: "Hallatt et al. 1992, Soil Biol Biochem 24:1333–1340"},
				{Figure: "cocoons", Says: "18.7 days at 25 °C, 1 young each", Where: hallatt},
				{Figure: "cocoons", Says: "base 9 °C, 299.2 degree-days", Where: "base taken from the activity curve, a choice"},
				{Figure: "activity curve", Says: "9, 27, 35 °C", Where: chosen},
			},
		},
		{
			ID: "african", Name: "African worms", Latin: "Eudrilus eugeniae",
			Temperature: bands(22, 30, 16, 33),
			Moisture:    bands(75, 82, 65, 88),
			Cardinal:    farm.Cardinal{Min: 9, Best: 26, Max: 35},
			Cocoon:      farm.Cocoon{BaseC: 9, DegreeDays: 265.6, Hatchlings: 2.7},
			Sources: []farm.Source{
				{Figure: "tolerated temperature", Says: "9–30 °C", Where: dominguez},
				{Figure: "tolerated temperature", Says: "16–30 °C", Where: memory},
				{Figure: "best temperature", Says: "25 °C", Where: dominguez},
				{Figure: "best temperature", Says: "cocoons at 30 °C, none at 25 °C", Where: shagoti},
				{Figure: "lethal temperature", Says: "35 °C", Where: loehr},
				{Figure: "lethal temperature", Says: "37.5 °C in ten weeks, 40 °C in one", Where: shagoti},
				{Figure: "tolerated moisture", Says: "70–85 %", Where: memory},
				{Figure: "best moisture", Says: "79–82 %", Where: "Viljoen & Reinecke 1990, S Afr J Zool 25"},
				{Figure: "cocoons", Says: "16.6 days at 25 °C, 2.7 young each", Where: "Viljoen & Reinecke 1989, S Afr J Zool 24:27–32"},
				{Figure: "cocoons", Says: "base 9 °C, 265.6 degree-days", Where: "base taken from the activity curve, a choice"},
				{Figure: "activity curve", Says: "9, 26, 35 °C", Where: chosen},
			},
		},
	}
}

// bands makes bands of their four ends.
func bands(thriveLow, thriveHigh, surviveLow, surviveHigh float64) farm.Bands {
	return farm.Bands{
		Thrive:  farm.Band{Low: thriveLow, High: thriveHigh},
		Survive: farm.Band{Low: surviveLow, High: surviveHigh},
	}
}
