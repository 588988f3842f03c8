"""The parts of the page, each a class that builds itself and follows the tank (`section.Section`)."""
