// The board of all presses: the server sends it whole whenever something on it is new.
const board = document.getElementById("board");
const away = document.getElementById("board-away");
const events = new EventSource("/board/events");

events.onmessage = ({ data }) => {
  away.hidden = true;
  const drawn = new DOMParser().parseFromString(JSON.parse(data), "text/html");
  // What is being answered stays under the finger.
  const held = board.contains(document.activeElement) && document.activeElement.closest("form");
  if (!held) board.replaceChildren(...drawn.body.childNodes);
};
events.onerror = () => {
  away.hidden = false;
};
