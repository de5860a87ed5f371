package words

// FallCautions are the usual cautions about falls and partner work, for whoever
// might practise at home. They are no medical advice; local rules and licensed
// practitioners come first.
func (s *Say) FallCautions() (out []string) {
	for _, key := range []Key{"caution.first", "caution.home", "caution.mats", "caution.watch", "caution.head"} {
		out = append(out, s.It(key))
	}
	return out
}
