package timetable

// chance is a seeded generator: SplitMix64 (Steele, Lea and Flood 2014). The
// same seed gives the same numbers on every machine.
type chance struct{ state uint64 }

func (c *chance) next() uint64 {
	c.state += 0x9e3779b97f4a7c15
	z := c.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// below gives a number from 0 to n-1.
func (c *chance) below(n int) int { return int((c.next() >> 32) * uint64(n) >> 32) }

// shuffle puts a list into another order (Fisher and Yates).
func (c *chance) shuffle(list []int) {
	for i := len(list) - 1; i > 0; i-- {
		j := c.below(i + 1)
		list[i], list[j] = list[j], list[i]
	}
}
