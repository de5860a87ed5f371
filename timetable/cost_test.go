package timetable

import (
	"testing"
)

// Worked out by hand, aim by aim, from docs/timetable.md.
func TestEachAimIsCountedAsTheManualSays(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Problem, *Plan)
		units  Weights // Units of each aim
	}{
		{"as it stands", func(p *Problem, plan *Plan) {},
			// Two sessions, three sittings, white and yellow in n1, noon has 2 and 1, Sora twice.
			Weights{AimSession: 2, AimSitting: 3, AimMixed: 1, AimUneven: 1, AimLoad: 1}},
		{"Ada waits", func(p *Problem, plan *Plan) { plan.At[0] = Waiting },
			Weights{AimPlaced: 1, AimSession: 2, AimSitting: 3, AimLoad: 1}},
		{"Ada half an hour after Ben, and late for a little one", func(p *Problem, plan *Plan) { plan.At[0] = 2 },
			// 12:30 is the end of n1 and the start of n3: no wait.
			Weights{AimSeparate: 1, AimSession: 2, AimSitting: 3, AimUneven: 1, AimLate: 1, AimLoad: 1}},
		{"an hour lies between Ada and Ben", func(p *Problem, plan *Plan) { plan.At[0] = 2; p.Sittings[2].Start += 61; p.Rules.LittleAge = 0 },
			// A wait of 61 minutes is five started quarters; more than the pause.
			Weights{AimSeparate: 1, AimApart: 1, AimWait: 5, AimSession: 2, AimSitting: 3, AimUneven: 1, AimLoad: 1}},
		{"Ada and Ben at the same time on two mats", func(p *Problem, plan *Plan) {
			plan.At[0] = 1
			plan.Panels[1] = []int{0}
			plan.Panels[2] = nil
			plan.At[2] = 1
		},
			Weights{AimSeparate: 1, AimSession: 2, AimSitting: 3, AimUneven: 1, AimLoad: 1}},
		{"Ben in the evening", func(p *Problem, plan *Plan) { plan.At[1] = 3 },
			// e1 then holds yellow and green, and n1 and n3 one each.
			Weights{AimSplit: 1, AimSession: 2, AimSitting: 3, AimMixed: 1, AimLoad: 1}},
		{"Cleo on the make-up date, if need be, with points", func(p *Problem, plan *Plan) {
			plan.At[2], plan.Panels[4], plan.Panels[2] = 4, []int{0}, nil
			p.Households[1].Answers[2] = Answer{Session: "later", Suits: IfNeedBe, Points: 4}
		},
			Weights{AimIfNeedBe: 1, AimWish: 4, AimMakeup: 1, AimSession: 3, AimSitting: 3, AimMixed: 1, AimLoad: 1}},
		{"a dear session and a dear sitting", func(p *Problem, plan *Plan) { p.Sessions[0].Cost, p.Sittings[0].Cost = 5, 7 },
			Weights{AimSession: 6, AimSitting: 9, AimMixed: 1, AimUneven: 1, AimLoad: 1}},
		{"a held sitting that is empty", func(p *Problem, plan *Plan) { p.Sittings[1].Hold = Held; plan.Panels[1] = []int{0} },
			Weights{AimSession: 2, AimSitting: 4, AimMixed: 1, AimUneven: 2, AimLoad: 3}},
		{"Ben and Ada were told another time, Cleo only planned", func(p *Problem, plan *Plan) {
			p.Entries[0].Was, p.Entries[0].Told = "n3", true
			p.Entries[1].Was, p.Entries[1].Told = "n3", true
			p.Entries[2].Was = "n1"
		},
			Weights{AimMoved: 1, AimRedrawn: 1, AimSession: 2, AimSitting: 3, AimMixed: 1, AimUneven: 1, AimLoad: 1}},
		{"told, and waits", func(p *Problem, plan *Plan) {
			p.Entries[3].Was, p.Entries[3].Told = "e1", true
			plan.At[3] = Waiting
			plan.Panels[3] = nil
		},
			Weights{AimPlaced: 1, AimMoved: 1, AimSession: 1, AimSitting: 2, AimMixed: 1, AimUneven: 1}},
		{"a new examiner on a published panel", func(p *Problem, plan *Plan) { p.Sittings[0].Was = append(p.Sittings[0].Was, "sora") },
			Weights{AimSession: 2, AimSitting: 3, AimMixed: 1, AimUneven: 1, AimLoad: 1, AimRedrawn: 1}},
		{"late by the clock", func(p *Problem, plan *Plan) {
			p.Rules.LittleAfter, p.Rules.LittleClock = 0, 12*60
			p.Entries[1].Age = 6
		},
			Weights{AimSession: 2, AimSitting: 3, AimMixed: 1, AimUneven: 1, AimLate: 2, AimLoad: 1}},
		{"an age that is not known is not little", func(p *Problem, plan *Plan) {
			p.Rules.LittleAfter, p.Rules.LittleClock = 0, 12*60
			p.Entries[0].Age = 0
		},
			Weights{AimSession: 2, AimSitting: 3, AimMixed: 1, AimUneven: 1, AimLoad: 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, plan := evening(t)
			p.Rules.LittleAge, p.Rules.LittleAfter, p.Rules.LittleClock = 7, 15, 0
			c.change(p, plan)
			q := prepared(t, p)
			costs := q.Cost(plan)
			var total int64
			for a, want := range c.units {
				got := costs.Aims[a]
				var caused int64
				for _, cause := range got.Causes {
					caused += cause.Units
				}
				if got.Units != int64(want) || got.Aim != Aim(a) || caused != got.Units || got.Cost != got.Units*int64(p.Weights[a]) {
					t.Errorf("%s: %d units (%d in causes), want %d", Aim(a), got.Units, caused, want)
				}
				total += int64(want) * int64(p.Weights[a])
			}
			if costs.Total != total || q.Total(plan) != total {
				t.Errorf("total %d and %d, want %d", costs.Total, q.Total(plan), total)
			}
		})
	}
}
