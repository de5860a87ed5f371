package roster

import (
	"strings"
	"sync"
)

// Field is what a column means. Its text is the column's name in students.csv.
type Field string

// The fields of a student. FullNameField stands for given and family name in
// one column; Ignored is a column that is not read.
const (
	Ignored            Field = ""
	StudentIDField     Field = "student_id"
	GivenNameField     Field = "given_name"
	FamilyNameField    Field = "family_name"
	FullNameField      Field = "full_name"
	BirthDateField     Field = "birth_date"
	HouseholdField     Field = "household"
	LadderField        Field = "ladder"
	RankField          Field = "rank"
	RankSinceField     Field = "rank_since"
	ClassesField       Field = "classes_since_rank"
	GuardianNameField  Field = "guardian_name"
	GuardianEmailField Field = "guardian_email"
	GuardianPhoneField Field = "guardian_phone"
	BeltSizeField      Field = "belt_size"
	ShirtSizeField     Field = "shirt_size"
	NotesField         Field = "notes"
	SaidField          Field = "said"
)

// Fields lists every field in the order of students.csv, with FullNameField
// after the two names that it stands for.
func Fields() []Field {
	return []Field{StudentIDField, GivenNameField, FamilyNameField, FullNameField, BirthDateField,
		HouseholdField, LadderField, RankField, RankSinceField, ClassesField, GuardianNameField,
		GuardianEmailField, GuardianPhoneField, BeltSizeField, ShirtSizeField, NotesField, SaidField}
}

// Label is the field in words.
func (f Field) Label() string {
	if f == Ignored {
		return "not read"
	}
	if f == GuardianEmailField {
		return "guardian e-mail"
	}
	return strings.ReplaceAll(string(f), "_", " ")
}

// synonyms are the headings that schools write, in English and in Spanish, in
// folded form. Common practice, no published source.
var synonyms = map[Field]string{
	StudentIDField: `student id, id, student number, student no, member id, member number, member no, membership number, nr, no, n, number,
		id alumno, id del alumno, id de alumno, numero de alumno, n alumno, numero, matricula, codigo, codigo de alumno, num socio, numero de socio`,
	GivenNameField: `given name, given names, first name, firstname, first names, forename, forenames, christian name, student first name,
		student given name, child first name, childs first name, first,
		nombre de pila, primer nombre, nombre del alumno, nombre del nino, nombre alumno, nombres`,
	FamilyNameField: `family name, family names, last name, lastname, surname, surnames, student last name, student family name, student surname,
		child last name, childs last name, last,
		apellido, apellidos, apellido alumno, apellidos alumno, apellido del alumno, apellidos del alumno, primer apellido`,
	FullNameField: `full name, fullname, student name, students name, childs name, child name, child, student, name of child, name of student,
		last name first name, first and last name, name of the child, member name, member, pupil,
		nombre completo, nombre y apellido, nombre y apellidos, apellidos y nombre, apellido y nombre, apellidos nombre, alumno, alumna, alumno a, estudiante`,
	BirthDateField: `birth date, birthdate, date of birth, dob, born, birthday, born on, d o b, student dob, childs date of birth, child dob, birth,
		fecha de nacimiento, fecha nacimiento, fecha nac, f nacimiento, f nac, nacimiento, fdn, cumpleanos, nacido, nacida, nacido el, fecha de nac`,
	HouseholdField: `household, household id, family, family id, family group, family code,
		hogar, unidad familiar, grupo familiar, familia, id familia`,
	LadderField: `ladder, programme, program, class group, age group, group, course, division,
		programa, grupo, categoria, curso, seccion`,
	RankField: `rank, belt, belt colour, belt color, current belt, current rank, grade, current grade, level, belt rank, kyu, gup, kup, kyu grade, present rank, rank now,
		grado, cinturon, cinta, color de cinturon, color cinturon, cinturon actual, grado actual, nivel, rango, faja`,
	RankSinceField: `rank since, since, belt since, last grading, last grading date, last exam, last exam date, last test, last test date, date of last grading,
		date of rank, rank date, belt date, promoted on, promoted, promotion date, last promotion, grade date, last graded, date of last exam, date of last test, grading date, current rank since, current belt since,
		fecha de grado, fecha grado, fecha de cinturon, fecha cinturon, ultimo examen, fecha ultimo examen, fecha del ultimo examen, fecha de ultimo examen, desde, grado desde, cinturon desde, ultima graduacion, fecha de promocion, fecha ultimo grado`,
	ClassesField: `classes since rank, classes, classes since grading, classes since last grading, number of classes, classes attended, attendance, attendances, sessions, sessions since rank,
		sessions attended, lessons, lessons since rank, classes since last exam, classes since last test, sessions since last grading, class count, no of classes,
		clases, clases asistidas, asistencia, asistencias, numero de clases, clases desde examen, clases desde el examen, clases desde el ultimo examen, sesiones, clases desde grado, n clases`,
	GuardianNameField: `guardian name, guardian, guardians, parent, parents, parent name, parents name, parent guardian, parent or guardian, parent guardian name, mother, father, contact name, emergency contact, contact, mum, mom, dad, responsible adult, guardians name,
		tutor, tutora, tutores, padre, madre, padres, padre madre, madre padre, padre o madre, padre o tutor, madre o padre, nombre del tutor, nombre tutor, responsable, contacto, nombre de contacto, tutor legal, nombre del padre, nombre de la madre, representante`,
	GuardianEmailField: `guardian email, guardian e mail, email, e mail, mail, email address, e mail address, parent email, parent e mail, parents email, contact email, guardian email address, parent email address, family email, guardians email,
		correo, correo electronico, email tutor, email del tutor, correo tutor, correo del tutor, email padres, correo padres, email de contacto, e mail tutor`,
	GuardianPhoneField: `guardian phone, phone, telephone, tel, mobile, cell, cell phone, cellphone, phone number, mobile number, telephone number, mobile phone, parent phone, parent mobile, parents phone, contact phone, contact number, emergency phone, guardian telephone, guardian mobile, guardians phone, guardian phone number,
		telefono, movil, celular, tfno, tlf, telefono tutor, telefono del tutor, telefono movil, telefono de contacto, numero de telefono, telefono padres, movil tutor`,
	BeltSizeField: `belt size, belt length, belt length cm, belt cm, size of belt, next belt size,
		talla cinturon, talla de cinturon, talla del cinturon, largo cinturon, largo del cinturon, medida cinturon`,
	ShirtSizeField: `shirt size, t shirt size, tshirt size, t shirt, tshirt, shirt, uniform size, tee size, size of shirt, top size,
		talla, talla camiseta, talla de camiseta, camiseta, talla uniforme, talla de uniforme, talla remera, talla playera`,
	NotesField: `notes, note, remark, remarks, comment, comments, anything we should know,
		notas, nota, observaciones, observacion, comentarios, comentario`,
	SaidField: `said, name said, said as, say it, how it is said, how to say it, pronunciation, name pronunciation, pronounced, how to pronounce,
		pronunciacion, se pronuncia, como se dice, como se pronuncia`,
}

// weakSynonyms are read only where no other column has the field. "Name" is a
// given name beside a family name and a full name alone.
var weakSynonyms = []struct {
	field Field
	words string
}{
	{GivenNameField, "name, nombre"},
	{RankSinceField, "start date, started, start, joined, date joined, join date, member since, starting date, enrolled, enrolment date, enrollment date, first class, fecha de inicio, fecha inicio, inicio, fecha de alta, alta, fecha de ingreso, ingreso"},
}

var knownHeadings = sync.OnceValue(func() map[string]Field {
	m := map[string]Field{}
	for _, f := range Fields() {
		for _, w := range strings.Split(synonyms[f], ",") {
			m[strings.ReplaceAll(cleanLine(w), "e mail", "email")] = f
		}
		m[Fold(string(f))] = f
	}
	return m
})

// recognise gives each heading its field. Where two headings mean the same
// field the first has it and the other is not read, but for guardians, of
// whom a child may have two.
func recognise(head Row) []Column {
	cols := make([]Column, len(head.Cells))
	taken := map[Field]bool{}
	for i, c := range head.Cells {
		cols[i].Heading = cleanLine(c.Text)
		f := knownHeadings()[headingKey(c.Text)]
		if f != Ignored && (!taken[f] || f.ofGuardian()) {
			cols[i].Field, taken[f] = f, true
		}
	}
	for _, w := range weakSynonyms {
		for i := range cols {
			key := headingKey(cols[i].Heading)
			if cols[i].Field != Ignored || key == "" || !wordIn(w.words, key) {
				continue
			}
			f := w.field
			if f == GivenNameField && !taken[FamilyNameField] {
				f = FullNameField
			}
			if !taken[f] && !(f == GivenNameField && taken[FullNameField]) {
				cols[i].Field, taken[f] = f, true
			}
		}
	}
	if taken[GivenNameField] && taken[FamilyNameField] {
		for i := range cols {
			if cols[i].Field == FullNameField {
				cols[i].Field = Ignored
			}
		}
	}
	return cols
}

func (f Field) ofGuardian() bool {
	return f == GuardianNameField || f == GuardianEmailField || f == GuardianPhoneField
}

// headingKey is the heading folded, without what stands in brackets and
// without the number of a second guardian.
func headingKey(s string) string {
	if before, rest, ok := strings.Cut(s, "("); ok && cleanLine(before) != "" {
		_, after, _ := strings.Cut(rest, ")")
		s = before + after
	}
	key := strings.ReplaceAll(Fold(s), "e mail", "email")
	for _, n := range []string{" 1", " 2", " 3"} {
		if rest, ok := strings.CutSuffix(key, n); ok {
			return rest
		}
	}
	words := strings.Fields(key)
	for i, w := range words {
		if w == "1" || w == "2" || w == "3" {
			return strings.Join(append(words[:i:i], words[i+1:]...), " ")
		}
	}
	return key
}

func wordIn(list, word string) bool {
	for _, w := range strings.Split(list, ",") {
		if cleanLine(w) == word {
			return true
		}
	}
	return false
}
