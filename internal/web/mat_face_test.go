package web

import (
	"encoding/json"
	"os"
	"reflect"
	"testing"
)

// The same vectors are read by mat/test/face.test.js, so that a cell looks
// the same before and after the first tap.
func TestACellLooksTheSameFromTheServerAsFromTheScript(t *testing.T) {
	b, err := os.ReadFile("mat/test/faces.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors []struct {
		Name string
		Cell matCell
		Face matFace
	}
	if err := json.Unmarshal(b, &vectors); err != nil || len(vectors) < 15 {
		t.Fatalf("%d vectors: %v", len(vectors), err)
	}
	for _, v := range vectors {
		if got := matFaceOf(v.Cell); !reflect.DeepEqual(got, v.Face) {
			t.Errorf("%s: %+v, want %+v", v.Name, got, v.Face)
		}
	}
}

// Likewise mat/test/stops.test.js: who comes and goes heads a column as it is
// headed on a page that is opened anew.
func TestAColumnIsHeadedTheSameFromTheServerAsFromTheScript(t *testing.T) {
	b, err := os.ReadFile("mat/test/heads.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors []struct {
		Name      string
		Presences []string
		Heads     []matHead
	}
	if err := json.Unmarshal(b, &vectors); err != nil || len(vectors) < 5 {
		t.Fatalf("%d vectors: %v", len(vectors), err)
	}
	for _, v := range vectors {
		if got := matHeads(v.Presences); !reflect.DeepEqual(got, v.Heads) {
			t.Errorf("%s: %+v, want %+v", v.Name, got, v.Heads)
		}
	}
}
