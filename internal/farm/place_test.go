package farm_test

import (
	"strings"
	"testing"

	"binwatchd/internal/farm"
)

func placed(bins ...farm.Bin) *farm.Farm { return &farm.Farm{Bins: bins} }

func bin(name string, zones ...string) farm.Bin {
	b := farm.Bin{Name: name}
	for _, z := range zones {
		b.Zones = append(b.Zones, farm.Zone{Name: z})
	}
	return b
}

func TestAirOf(t *testing.T) {
	f := placed(farm.Bin{Name: "bed", Room: "shed", Ambient: "own-air"}, farm.Bin{Name: "tub", Ambient: "cellar-air"}, bin("rack", "all"))
	f.Rooms = []farm.Room{{Name: "shed", Air: "shed-air"}, {Name: "yard"}}
	for probe, want := range map[string]string{"shed-air": "shed", "own-air": "shed", "cellar-air": "cellar-air", "bed-t": ""} {
		if got := f.AirOf(probe); got != want {
			t.Errorf("%s: got %q, want %q", probe, got, want)
		}
	}
}

func TestFindPlace(t *testing.T) {
	f := placed(bin("bed", "near", "far"), bin("linden-02", "all"), bin("old bath", "warm end"), bin("Älteste", "all"), bin("tub", "all"), bin("Tub", "all"))
	for name, want := range map[string]string{
		"bed": "bed", "BED": "bed", " bed ": "bed", "Bed,": "bed",
		"bed/near": "bed/near", "Bed, near": "bed/near", "Bed,near": "bed/near", "bed near": "bed/near", "BED / NEAR": "bed/near", "Bed,  Near": "bed/near",
		"Linden-02": "linden-02", "linden-02/all": "linden-02/all", "Linden-02, all": "linden-02/all",
		"Old bath, warm end": "old bath/warm end", "old  bath": "old bath", "älteste": "Älteste", "ÄLTESTE/all": "Älteste/all",
		"tub": "tub", "Tub": "Tub",
		"TUB":          `several places called "TUB": tub, Tub; write it as here`,
		"Tub, all":     `several places called "Tub, all": tub/all, Tub/all; write it as here`,
		"linden":       `no bin "linden"; there are bed, linden-02, old bath, Älteste, tub, Tub`,
		"linden-2":     `no bin "linden-2"; there are bed, linden-02, old bath, Älteste, tub, Tub`,
		"bed/middle":   `no zone "middle" in bed; there are near, far`,
		"Bed, middle":  `no zone "middle" in bed; there are near, far`,
		"bed/near/far": `no zone "near/far" in bed; there are near, far`,
		"":             `no bin ""; there are bed, linden-02, old bath, Älteste, tub, Tub`,
		"/":            `no bin ""; there are bed, linden-02, old bath, Älteste, tub, Tub`,
	} {
		p, err := f.FindPlace(name)
		got := p.String()
		if err != nil {
			got = err.Error()
		}
		if got != want {
			t.Errorf("%q: got %s, want %s", name, got, want)
		}
	}
}

// Whatever a notice calls a place finds it.
func TestEveryNoticeNameFindsItsPlace(t *testing.T) {
	f := placed(bin("bed", "near", "far"), bin("linden-02", "all"), bin("old bath", "warm end", "cold end"), bin("élevage", "all"), bin("ß-2", "a", "b"), bin("ǆ", "x"))
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			only := len(b.Zones) == 1
			for _, name := range []string{farm.SayPlace(b.Name, z.Name, only), farm.SayPlace(b.Name, z.Name, false), strings.ToUpper(b.Name + "/" + z.Name), b.Name} {
				p, err := f.FindPlace(name)
				if err != nil || p.Bin != b.Name || p.Zone != "" && p.Zone != z.Name {
					t.Errorf("%q: got %v, %v; want %s/%s", name, p, err, b.Name, z.Name)
				}
			}
		}
	}
}

func TestFindPlaceInWords(t *testing.T) {
	f := placed(bin("bed", "near", "far"), bin("linden-02", "all"), bin("old bath", "warm end"))
	for line, want := range map[string]string{
		"bed/near fed 2 kg of grain":  "bed/near | fed 2 kg of grain",
		"Bed, near fed 2 kg of grain": "bed/near | fed 2 kg of grain",
		"Bed near fed 2 kg":           "bed/near | fed 2 kg",
		"BED fed 2 kg":                "bed | fed 2 kg",
		"Linden-02 watered 2 qt":      "linden-02 | watered 2 qt",
		"old bath, warm end too-hot":  "old bath/warm end | too-hot",
		"Old bath turned":             "old bath | turned",
		"bed":                         "bed | ",
		"Bed, middle fed 2 kg":        `no zone "middle" in bed; there are near, far`,
		"elm fed 2 kg":                `no bin "elm"; there are bed, linden-02, old bath`,
		"":                            `no bin ""; there are bed, linden-02, old bath`,
	} {
		p, rest, err := f.FindPlaceIn(strings.Split(line, " "))
		got := p.String() + " | " + strings.Join(rest, " ")
		if err != nil {
			got = err.Error()
		}
		if got != want {
			t.Errorf("%q: got %s, want %s", line, got, want)
		}
	}
}
