package demo

import "strings"

// Everybody here is invented. A name is a given name and a family name put
// together by chance.
var givenNames = strings.Fields(`
	Aïssatou Anjali Bence Bérénice Chiamaka Cillian Daria Đorđe Eirlys Emre Fatoumata Ferdia
	Gökçe Gwenllian Hēmi Hoài İlayda Ishaan Jasna Jó Kiri Kwame Laoise Lautaro Łucja Malia
	Márton Mbali Minh Nanami Niamh Nuno Oisín Oluchi Paulo Pınar Quỳnh Rangi Rasa Søren
	Sunniva Şeyma Taavi Tamar Thandeka Tomás Ülle Valentina Viggo Wiremu Xiadani Yael Yaw
	Zainab Žiga Zuzana`)

var familyNames = strings.Split(`Adébisi-Vale|Ångermark|Baghdasarov|Bełchatek|Castañeira|Çınaroğlu|Dvořáčik|Dunmorrow|
Eklöfsen|Fāgota|Gbedemann|Guðlaugson|Hãovan|Hawkesmere|Ivančevik|Jayasundar|Kōwhaita|Kristjánborg|Lê Thành|Lindhölmer|
Mbaluka|Muñozar|Nakahashi|Nwabuezo|O'Dowderry|Pärnaste|Quintanal|Rossignat|Ślebodar|Tamihare|Ŭmarov|Valdés-Okoro|Wójtarek`, "|")

var guardianNames = strings.Fields(`
	Adaeze Agnieszka Amparo Andrzej Aroha Bilal Birgit Camilo Dilek Efua Elīna Fergal Gáspár Hinemoa
	Imelda Ingrid Jarosław Kamala Kofi Lupe Marguerite Marisol Mihály Naoko Nosipho Olena Padraig
	Ravindra Rosália Sigrún Sipho Tariq Tevita Théodore Uchenna Vesna Xoán Yevhen Zeynep Željka`)

// Of these a coach's note is put together.
var strengths = strings.Split(`Freezes first of all at "Pause!".|Sets partners down softly.|Looks after the partner before the turn.|Breathes out in every fall.|
Guard stays up, even when tired.|Thanks each partner by name.|Listens with the whole body.|Kicks come home as fast as they go out.|Tries again without being asked.|Big voice, calm hands.`, "|")

var nextSteps = strings.Split(`Chin on the chest: five settle-backs a day from sitting.|Left side-wash: ten slow ones from a squat.|Stand on one leg while brushing teeth.|
Bring the knee up before the foot.|Say one promise line a day at home.|Count the steps of the pattern aloud.|Hands home to the cheek after each punch.|Look at the partner, not at the pad.|
Tie the belt once a day without help.|Turn the back foot with the hip.`, "|")
