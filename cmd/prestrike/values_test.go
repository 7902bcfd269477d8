package main

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"prestrike/exifread"
)

// TestEveryFieldIsShown holds that no field of Metadata is forgotten: each that
// may or may not be recorded changes just one of the values from unknown to
// known.
func TestEveryFieldIsShown(t *testing.T) {
	known := map[string]any{
		"string": exifread.Of("x"), "Rational": exifread.Of(exifread.Rational{Num: 1, Den: 2}),
		"uint32": exifread.Of(uint32(1)), "uint16": exifread.Of(uint16(1)),
		"LensSpecification": exifread.Of(exifread.LensSpecification{}), "SensitivityType": exifread.Of(exifread.SensitivityType(1)),
		"ExposureProgram": exifread.Of(exifread.ProgramManual), "ExposureMode": exifread.Of(exifread.ExposureManual),
		"Flash": exifread.Of(exifread.Flash(1)), "WhiteBalance": exifread.Of(exifread.WhiteBalanceManual),
		"CompositeSources": exifread.Of(exifread.CompositeSources{Used: exifread.Of(uint16(3))}),
		"Distance":         exifread.Of(exifread.Distance{}), "Timestamp": exifread.Of(exifread.Timestamp{Wall: time.Unix(0, 0).UTC()}),
	}
	shown := map[string]string{}
	fields := 0
	typ := reflect.TypeFor[exifread.Metadata]()
	for i := range typ.NumField() {
		field := typ.Field(i)
		if !strings.HasPrefix(field.Type.Name(), "Value[") {
			continue
		}
		fields++
		var m exifread.Metadata
		set := false
		for _, v := range known {
			if reflect.TypeOf(v) == field.Type {
				reflect.ValueOf(&m).Elem().Field(i).Set(reflect.ValueOf(v))
				set = true
			}
		}
		if !set {
			t.Errorf("%s: the test knows no value of %s", field.Name, field.Type)
			continue
		}
		var keys []string
		for _, v := range valuesOf(&m) {
			if v.known {
				keys = append(keys, v.key)
				if v.text == "" || v.json == nil {
					t.Errorf("%s: text %q, JSON %v", field.Name, v.text, v.json)
				}
			}
		}
		if len(keys) != 1 {
			t.Errorf("%s is shown as %v, want one value", field.Name, keys)
			continue
		}
		if other, ok := shown[keys[0]]; ok {
			t.Errorf("%s and %s are both shown as %s", field.Name, other, keys[0])
		}
		shown[keys[0]] = field.Name
	}
	if n := len(valuesOf(&exifread.Metadata{})); fields != n {
		t.Errorf("%d fields, %d values", fields, n)
	}
}

func TestDistances(t *testing.T) {
	for _, c := range []struct {
		d    exifread.Distance
		text string
		json any
	}{
		{exifread.Distance{State: exifread.DistanceUnknown}, "recorded as unknown", "unknown"},
		{exifread.Distance{State: exifread.DistanceInfinity}, "infinity", "infinity"},
		{exifread.Distance{State: exifread.DistanceMetres, Metres: 0.312}, "0.312 m", 0.312},
	} {
		if got := distanceText(c.d); got != c.text {
			t.Errorf("distanceText(%v) = %q, want %q", c.d, got, c.text)
		}
		got := distanceJSON(c.d)
		if p, ok := got.(*float64); ok {
			got = *p
		}
		if got != c.json {
			t.Errorf("distanceJSON(%v) = %v, want %v", c.d, got, c.json)
		}
	}
}
