"""The page table, in the order of the navigation. Run by: streamlit run dashboard/app.py."""

from dashboard import navigation
from dashboard.navigation import EVERYONE, Page
from dashboard.text.catalogue import mark
from warehouse import journal
from warehouse.vocabulary import STAFF

PEOPLE, TEACHING, ACADEMY = mark("People"), mark("Teaching"), mark("Academy")
# Each is a folder of pages/, named as its address.
PAGES = (
    Page("week", mark("This week"), PEOPLE, STAFF),
    Page("today", mark("Today"), PEOPLE, STAFF),
    Page("students", mark("Students"), PEOPLE, STAFF),
    Page("student", mark("Student"), PEOPLE, STAFF),
    Page("progress", mark("Progress page"), PEOPLE, EVERYONE),
    Page("lesson", mark("Lesson sheet"), TEACHING, STAFF),
    Page("session", mark("New session"), TEACHING, STAFF),
    Page("notes", mark("Write a note"), TEACHING, STAFF),
    Page("film", mark("Mark a film"), TEACHING, STAFF),
    Page("swings", mark("Swings"), TEACHING, STAFF),
    Page("drills", mark("Drills"), TEACHING, STAFF),
    Page("coaches", mark("Coaches"), ACADEMY, STAFF),
    Page("deliveries", mark("Deliveries"), ACADEMY, STAFF),
    Page("trust", mark("How sure are we"), ACADEMY, STAFF),
    Page("words", mark("What the words mean"), ACADEMY, STAFF),
    Page("people", mark("People"), ACADEMY, ("head_coach",)),
    Page("invitations", mark("Invitations"), ACADEMY, ("head_coach",)),
    Page("quality", mark("Data quality"), ACADEMY, ("head_coach",)),
)

if __name__ == "__main__":
    journal.show_steps_if_asked()
    navigation.run(PAGES)
