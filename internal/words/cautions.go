package words

// FallCautions are the usual cautions about falls and partner work, for whoever
// might practise at home. They are no medical advice; local rules and licensed
// practitioners come first.
func (s *Say) FallCautions() []string {
	return s.cautions("caution.first", "caution.home", "caution.mats", "caution.watch", "caution.head")
}

// MatCautions are FallCautions for whoever runs a station.
func (s *Say) MatCautions() []string {
	return s.cautions("caution.first", "caution.mats", "caution.watch", "caution.head")
}

func (s *Say) cautions(keys ...Key) (out []string) {
	for _, key := range keys {
		out = append(out, s.It(key))
	}
	return out
}
