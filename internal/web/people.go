package web

var peopleRoutes = []Route{}
