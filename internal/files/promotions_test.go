package files

import (
	"strings"
	"testing"

	"rankwright"
)

func TestPromotionsAreReadInTheirOrder(t *testing.T) {
	got, err := ReadPromotions("p.csv", strings.NewReader("\ufeffNumber,name,rank,belt,date,signer,label,other\n2026-2,Linh-Đan Phùng,Amber,#e0a02c,2026-10-10,Ines Calder,commendation,x\n\n2026-1,Inti Quispaya,Reed,,2026-10-10,Ines Calder,,\n"))
	if err != nil || len(got) != 2 {
		t.Fatal(got, err)
	}
	want := Promotion{Name: "Linh-Đan Phùng", Rank: "Amber", Belt: "#e0a02c", Day: rankwright.MustDay("2026-10-10"), Number: "2026-2", Signer: "Ines Calder", Label: "commendation"}
	if got[0] != want || got[1].Name != "Inti Quispaya" {
		t.Errorf("read are %+v", got)
	}
}

func TestPromotionsSayWhereTheyAreWrong(t *testing.T) {
	const head = "name,rank,date,number,signer\n"
	for text, want := range map[string]string{
		"name,rank,date,number\n":              "signer",
		head:                                   "p.csv:1: the table has no lines",
		head + "Inti,Reed,10.10.2026,1,Ines\n": `p.csv:2, column "date": "10.10.2026" is not a date`,
		head + ",Reed,2026-10-10,1,Ines\n":     `p.csv:2, column "name": the name is missing`,
		head + "Inti,Reed,2026-10-10,1,Ines\nAna,Reed,2026-10-10,1,I\n": `p.csv:3, column "number": the number "1" is that of line 2 too`,
	} {
		if _, err := ReadPromotions("p.csv", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func FuzzReadPromotions(f *testing.F) {
	f.Add("name,rank,date,number,signer\nInti,Reed,2026-10-10,1,Ines\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := ReadPromotions("p.csv", strings.NewReader(text))
		for _, p := range list {
			if err != nil || p.Name == "" || p.Day.IsZero() {
				t.Errorf("%+v, %v", p, err)
			}
		}
	})
}
