package syllabus

// Eligibility is who may enter for a rank.
type Eligibility struct{}

func (r *reader) eligibility(n *node, s *Syllabus, what string) Eligibility { return Eligibility{} }
