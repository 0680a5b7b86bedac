package survey_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A shape is what one kind of device might say, invented; want is what is
// proposed for it, "pointer measures unit" each, and nothing else.
type shape struct {
	name, topic string
	said        []string
	want        string
}

var shapes = []shape{
	{"a soil stick by radio", "mesh/soil stick 4", []string{`{"battery":100,"linkquality":156,"soil_moisture":43,"temperature":21.3,"temperature_unit":"celsius","voltage":3000}`},
		"/battery battery %, /soil_moisture moisture %, /temperature temperature C"},
	{"a soil stick that says humidity", "soil/1", []string{`{"humidity":55.2,"temperature":19.1,"lqi":88,"voltage":2.95}`}, "/temperature temperature C"},
	{"link quality and voltage under soil", "soil/bed", []string{`{"linkquality":120,"voltage":2950,"rssi":-71,"snr":9.5,"lqi":200}`}, ""},
	{"the same, as topics", "garden/soil/linkquality", []string{"120", "118"}, ""},
	{"a voltage as a topic", "garden/soil/voltage", []string{"2.95"}, ""},
	{"a radio's frame", "up/07", []string{`{"object":{"soil_vwc":61.5,"tempC":18.2,"batV":3.58},"rxInfo":[{"rssi":-112,"loRaSNR":6.2}],"fCnt":4711,"fPort":2,"txInfo":{"frequency":868300000,"dr":5}}`},
		"/object/batV battery V, /object/soil_vwc moisture %, /object/tempC temperature C"},
	{"a sensor whose id is all digits", "tele/shed/SENSOR", []string{`{"Time":"2026-05-01T10:00:00","DS18B20":{"Id":"0316","Temperature":64.2},"TempUnit":"F"}`}, "/DS18B20/Temperature temperature F"},
	{"the same, where its temperature is taken", "tele/shed/SENSOR", []string{`{"DS18B20":{"Id":"0316"}}`}, ""},
	{"a small board", "shed/esp", []string{`{"t":21.5,"h":61.2,"soil":2210,"vcc":3.29,"rssi":-67,"heap":23544,"uptime":86233,"seq":17}`},
		"/h humidity %, /soil moisture raw, /t temperature C, /vcc battery V"},
	{"mixed case", "Shed", []string{`{"SoilTemp":17.5,"SoilMoisture":2210,"AirTemp":23.1,"AirHumidity":55,"BatteryVoltage":3.9,"WiFiSignal":-60}`},
		"/AirHumidity humidity %, /AirTemp temperature C, /BatteryVoltage battery V, /SoilMoisture moisture raw, /SoilTemp temperature C"},
	{"words written together", "shed", []string{`{"soiltemperature":17.5,"soilmoisture":61,"airtemp":23.1,"batterylevel":88,"dewpoint":11.2}`},
		"/airtemp temperature C, /batterylevel battery %, /soilmoisture moisture %, /soiltemperature temperature C"},
	{"German", "haus/beet", []string{`{"Bodenfeuchte":61,"Luftfeuchte":55,"Bodentemperatur":17.5,"Lufttemperatur":22.5,"Akku":3.9,"Luftdruck":1013.2,"Helligkeit":20500,"Sollwert":21}`},
		"/Akku battery V, /Bodenfeuchte moisture %, /Bodentemperatur temperature C, /Luftfeuchte humidity %, /Lufttemperatur temperature C"},
	{"French", "serre/bac", []string{`{"température":17.5,"humidité":55,"humidité_sol":61,"batterie":88,"pression":1013.2,"lumière":830}`},
		"/batterie battery %, /humidité humidity %, /humidité_sol moisture %, /température temperature C"},
	{"Spanish", "huerta", []string{`{"temperatura":17.5,"humedad_suelo":61,"humedad":44,"bateria":3.9,"peso":12.2}`},
		"/bateria battery V, /humedad humidity %, /humedad_suelo moisture %, /peso weight kg, /temperatura temperature C"},
	{"a scale", "shed/scale/kg", []string{"14.2", "14.3"}, "\"\" weight kg"},
	{"a scale in a message", "bin/1", []string{`{"weight":14.2,"unit":"kg","tare":1.5}`}, "/weight weight kg"},
	{"a number with its unit", "bin/1", []string{`{"value":14.2,"unit":"kg"}`}, "/value weight kg"},
	{"degrees with their unit", "bin/1", []string{`{"value":64.2,"unit":"°F"}`}, "/value temperature F"},
	{"a number with its kind", "bin/1/m", []string{`{"type":"soil moisture","value":61}`}, "/value moisture %"},
	{"kinds that change", "bin/1/m", []string{`{"type":"temperature","value":21}`, `{"type":"humidity","value":61}`}, ""},
	{"wishes and bounds", "bin/2", []string{`{"temp":21.5,"temp_set":24,"target_temperature":24,"temp_min":18,"temp_max":25,"temp_offset":0.5,"battery_current":0.31}`}, "/temp temperature C"},
	{"of the device itself", "bin/3", []string{`{"cpu_temp":48.5,"chipTemperature":47.5,"battery_temp":25.5,"temp":19.5}`}, "/temp temperature C"},
	{"pressure, light, gas, salt", "bin/4", []string{`{"pressure":1013.2,"lux":310.5,"co2":612,"ph":6.8,"ec":1.4,"tvoc":12}`}, "/co2 co2 ppm, /ec conductivity mS/cm, /ph ph pH"},
	{"a soil and no more", "garden/soil", []string{"21.5"}, ""},
	{"a soil's converter", "garden/soil/2", []string{"2210", "2208"}, "\"\" moisture raw"},
	{"a temperature by its topic", "cellar/temperature/by the stairs", []string{"11.5"}, "\"\" temperature C"},
	{"a list", "shed/all", []string{`{"temps":[19.5,20.5],"moist":[0.61,0.64]}`}, "/moist/0 moisture ratio, /moist/1 moisture ratio, /temps/0 temperature C, /temps/1 temperature C"},
	{"a battery's object", "shed/5", []string{`{"battery":{"voltage":3.91,"percent":88,"low":false,"charging":0},"soil":{"raw":2210,"voltage":1.8}}`},
		"/battery/percent battery %, /battery/voltage battery V, /soil/raw moisture raw"},
}

// quantities are those of the air, the scale and the meter in the soil.
var quantities = []shape{
	{"pounds on a scale", "barn/bin 2", []string{`{"weight_lb":41.5,"scale_ok":1}`}, "/weight_lb weight lb"},
	{"an empty scale", "barn/bin 3/weight", []string{"-0.02", "0.01"}, "\"\" weight kg"},
	{"CO2 beside what is reckoned from other gases", "cellar/air", []string{`{"CO2":{"value":612,"unit":"ppm"},"eCO2":640,"co":3}`}, "/CO2/value co2 ppm"},
	{"CO2 as a part of the air", "cellar/co2_percent", []string{"0.06"}, "\"\" co2 %"},
	{"a meter in the soil", "soil/6", []string{`{"ec":{"value":1450,"unit":"µS/cm"},"pH":6.5,"vwc":44}`}, "/ec/value conductivity uS/cm, /pH ph pH, /vwc moisture %"},
	{"wishes of a greenhouse", "house", []string{`{"target_humidity":60,"humidity_max":91,"co2_setpoint":800,"humidity":0.71}`}, "/humidity humidity ratio"},
	{"what a soil's humidity is nobody says", "soil/2/humidity", []string{"55"}, ""},
}

// found are those that people tried the program with afterwards.
var found = []shape{
	{"a capital in a unit", "n/1", []string{`{"battery_mV":2950,"pH":6.8,"airPressure_hPa":1013.2,"power_kWh":1.25,"rssi_dBm":-70}`}, "/battery_mV battery mV, /pH ph pH"},
	{"flags of a battery", "n/1", []string{`{"battery_ok":1,"has_battery":1,"low_battery":0}`}, ""},
	{"a difference", "n/1", []string{`{"dT":2.5,"T":20.5}`}, "/T temperature C"},
	{"a wish as a topic", "thermostat/target/temperature", []string{"21.5"}, ""},
	{"a wish's object", "n/1", []string{`{"target":{"temperature":21.5},"cpu":{"temp":48.5},"today":{"max":{"temp":24.5}},"probe":{"temp":19.5}}`}, "/probe/temp temperature C"},
	{"objects with units", "n/1", []string{`{"temperature":{"value":18.5,"unit":"C"},"moisture":{"value":61,"unit":"%"},"mass":{"value":12.5,"unit":"kg"}}`},
		"/mass/value weight kg, /moisture/value moisture %, /temperature/value temperature C"},
	{"names in a list", "n/1", []string{`{"sensors":[{"name":"t1","value":18.5},{"name":"kg","value":12.5}]}`}, "/sensors/0/value temperature C, /sensors/1/value weight kg"},
	{"a voltage in millivolts as a topic", "soil/voltage/mv", []string{"2950"}, ""},
	{"a depth in the name", "field", []string{`{"soil_temperature_6cm":17.5,"soil_moisture_3_9cm":0.31}`}, "/soil_moisture_3_9cm moisture ratio, /soil_temperature_6cm temperature C"},
	{"status is a place for news", "hut/status/temperature", []string{"18.5"}, "\"\" temperature C"},
}

// heldOut were written before the program had seen them.
var heldOut = []shape{
	{"one station, many things", "yard/ws", []string{`{"outdoor":{"temperature_C":9.4,"humidity":81,"rain_mm":0.3,"wind_avg_km_h":7.2},"indoor":{"temperature_C":19.1}}`},
		"/indoor/temperature_C temperature C, /outdoor/humidity humidity %, /outdoor/temperature_C temperature C"},
	{"a cell in millivolts", "n/12", []string{`{"vbat_mv":3712,"soil_mv":1850,"temp_c":18.25,"boot":12}`}, "/soil_mv moisture raw, /temp_c temperature C, /vbat_mv battery mV"},
	{"tenths of a degree", "n/13", []string{`{"Temp":215,"Hum":612,"Bat":88}`}, "/Bat battery %, /Hum humidity raw, /Temp temperature raw"},
	{"two probes and a lid", "tub/2", []string{`{"ds18b20":{"top":19.4,"bottom":21.8},"lid":1,"contact":true}`}, "/ds18b20/bottom temperature C, /ds18b20/top temperature C"},
	{"a weighing tray", "stack/tray 3", []string{`{"mass_g":8250,"temp":20.5,"hx711_raw":184233}`}, "/mass_g weight g, /temp temperature C"},
	{"signal beside moisture", "sensors/soil/kitchen/state", []string{`{"moisture":63,"signal":-58,"battery_state":"ok","battery_low":0,"last_seen":1777881600}`}, "/moisture moisture %"},
	{"a plug", "plug/heater", []string{`{"voltage":231.2,"current":0.31,"power":71.6,"energy":12.4,"temperature":31.5}`}, "/temperature temperature C"},
	{"a pot's stick in German", "Töpfe/7", []string{`{"Feuchte Erde":58,"Temperatur":20.25,"Licht":820,"Batterie":77,"Düngung":410}`}, "/Batterie battery %, /Feuchte Erde moisture %, /Temperatur temperature C"},
	{"plain topics", "greenhouse/bed 1/soil moisture", []string{"64", "63"}, "\"\" moisture %"},
	{"plain topics, signal", "greenhouse/bed 1/soil signal", []string{"64", "63"}, ""},
	{"plain topics, dew point", "greenhouse/temperature/dew point", []string{"9.5", "9.75"}, ""},
	{"a counter under moisture", "moisture/count", []string{"61", "62"}, ""},
	{"a level of battery under soil", "soil/4/battery level", []string{"61"}, "\"\" battery %"},
	{"records by name", "s/9", []string{`[{"n":"temperature","u":"Cel","v":21.5},{"n":"rssi","u":"dBW","v":-93}]`}, ""},
	{"percent of what", "soil/9", []string{`{"percent":61}`}, "/percent moisture %"},
	{"a heap's temperature as a topic", "yard/heap temperature", []string{"28.5", "28.25"}, "\"\" temperature C"},
	{"a heap that measures", "heap/2", []string{`{"heap_temp":28.5,"heap_moisture":61,"min_free_heap":21800}`}, "/heap_moisture moisture %, /heap_temp temperature C"},
	{"a heap, and no more is said", "compost/heap", []string{"58.5", "58.25"}, ""},
	{"a compost heap, likewise", "yard/1", []string{`{"compost_heap":58.5}`}, ""},
	{"memory under soil", "shed/soil/heap", []string{"61", "60"}, ""},
	{"a heap that heats", "heap/probe", []string{`{"core_temp":58.5,"air":18.5}`}, ""},
}

func proposed(topic string, said []string) string {
	var got []string
	for _, p := range ofTopic(topic, said...).Probes {
		pointer := p.Value
		if pointer == "" {
			pointer = `""`
		}
		got = append(got, fmt.Sprintf("%s %s %s", pointer, p.Measures, p.Unit))
	}
	slices.Sort(got)
	return strings.Join(got, ", ")
}

// What devices of many makes might say is taken for what it is, and what is not
// known is left out, with a reason.
func TestShapes(t *testing.T) {
	for _, s := range slices.Concat(shapes, quantities, found, heldOut) {
		t.Run(s.name, func(t *testing.T) {
			if diff := cmp.Diff(s.want, proposed(s.topic, s.said)); diff != "" {
				t.Errorf("(-want +got)\n%s\n%s", diff, yamlOf(t, ofTopic(s.topic, s.said...)))
			}
			p := ofTopic(s.topic, s.said...)
			for _, a := range p.Aside {
				if a.Why == "" {
					t.Errorf("%s %s is left out without a word", a.Topic, a.Value)
				}
			}
			if len(p.Probes) > 0 {
				compose(t, p)
			}
		})
	}
}
