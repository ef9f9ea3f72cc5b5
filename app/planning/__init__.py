"""Planning a crew: who stands where, heat by heat. Pure: no database, no web, no clock."""
